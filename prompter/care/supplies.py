"""What must lie in the emergency bag for this plan, so that it can be checked before it is needed.

Common practice, no single source; sizes and amounts come from the plan.
"""

from dataclasses import dataclass

from prompter.care.plan import Plan


@dataclass(frozen=True, slots=True)
class Supply:
    """`name` identifies it; `detail` is the size or amount; `after_use` is true if it is used up."""

    name: str
    detail: str = ""
    after_use: bool = False


def supplies(plan: Plan) -> list[Supply]:
    """The bag's list in the order in which things are reached for."""
    tube, facts = plan.tube, plan.facts()
    gauge = f"{plan.suction.catheter_fr:g} Fr"
    found = [
        Supply("resuscitation bag", "squeezed once: it refills by itself"),
        Supply("small mask for the neck hole"),
        Supply("suction machine", "charged, with its tubing"),
        Supply("hand suction", "for when the machine fails"),
        Supply("suction catheters", f"{gauge}, at least three", after_use=True),
    ]
    # For a neck-only patient a face mask in the bag is a trap.
    if "neck only" not in facts:
        found.insert(2, Supply("face mask", "fits the bag and the face"))
    if tube is not None:
        if tube.spare_same_size:
            found.append(Supply("spare tube", f"{tube.inside_mm:g} mm, same as now", True))
        if tube.smaller_spare_inside_mm is not None:
            found.append(Supply("smaller tube", f"{tube.smaller_spare_inside_mm:g} mm", True))
        if tube.guide:
            found.append(Supply("guides", "one in each spare tube"))
        if tube.inner_tube:
            found.append(Supply("clean inner tube", "the size of the tube in use", True))
        if tube.cuff_ml is not None:
            found.append(Supply("syringe for the cuff", f"holds {tube.cuff_ml:g} mL or more"))
        if tube.cuff == "water":
            found.append(Supply("sterile water for the cuff", f"{tube.cuff_ml:g} mL", True))
        found.append(Supply("tube ties", "a new set, and scissors with round tips", True))
        found += [Supply(f"spare {thing}") for thing in tube.sits_on_it if thing == "filter"]
    if plan.rescue.saline_ml is not None:
        found.append(
            Supply("saline", f"{plan.rescue.saline_ml:g} mL a time, at least three", after_use=True)
        )
    if plan.oxygen is not None:
        found.append(
            Supply("oxygen cylinder", f"{plan.oxygen.cylinder}, with key and tubing", after_use=True)
        )
    if plan.patient.oximeter:
        found.append(Supply("oximeter", "charged"))
    found += [
        Supply("water-based gel", after_use=True),
        Supply("gauze", after_use=True),
        Supply("roll for under the shoulders"),
        Supply("gloves", after_use=True),
        Supply("phone", "charged, dials without hands"),
        Supply("printed plan", "for the paramedics"),
    ]
    return found
