"""What a crew that arrives needs to know of the plan, in lines short enough for half a small screen."""

from prompter.care.plan import Plan

_WAYS = {
    "open": "Mouth and nose lead to the lungs",
    "hard": "Hard by mouth and nose: neck hole first",
    "none": "NECK-ONLY: no air by mouth or nose",
}


def crew_lines(plan: Plan, smaller_in: bool = False) -> tuple[str, ...]:
    """The patient's lines, what matters most first. `smaller_in`: the smaller tube went in today."""
    patient, tube, suction = plan.patient, plan.tube, plan.suction
    found = [f"{patient.name}, {patient.age_group}, {patient.weight_kg:g} kg", _WAYS[plan.airway.way_to_lungs]]
    if tube is None:
        found.append("No tube: breathes through the neck hole")
    else:
        cuff = "no cuff" if tube.cuff_ml is None else f"cuff {tube.cuff_ml:g} mL of {tube.cuff}"
        inner = ", inner tube" if tube.inner_tube else ""
        smaller = tube.smaller_spare_inside_mm
        if smaller_in and smaller is not None:
            found.append(f"In now: {smaller:g} mm inside")
        found.append(f"Usual tube: {tube.inside_mm:g} mm inside, {cuff}{inner}")
        spares = [f"{tube.inside_mm:g}"] * tube.spare_same_size + ([f"{smaller:g}"] if smaller is not None else [])
        found.append(f"Spares at home: {' and '.join(spares)} mm" if spares else "No spare tube at home")
    found.append(f"Suction: {suction.catheter_fr:g} Fr, {suction.depth_cm:g} cm deep")
    if plan.ventilator:
        found.append("Usually on a ventilator")
    if patient.usual_saturation is not None:
        found.append(f"Usual saturation: {patient.usual_saturation} %")
    found += [f"Why the tube: {patient.why_the_tube}", f"{plan.clinician.name}, {plan.clinician.phone}", plan.clinician.hospital]
    return tuple(found)
