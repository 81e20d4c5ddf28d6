"""The plan on one readable card, on a terminal or as plain text for paper."""

from collections.abc import Iterator
from datetime import date

from rich.console import Console
from rich.table import Table
from rich.text import Text

from prompter.care.approval import NOT_YET, Standing
from prompter.care.cylinder import minutes_left
from prompter.care.doubts import warnings
from prompter.care.plan import Plan

CAUTIONS = (
    "This is not a medical device. It does not replace training, the care plan or the emergency"
    " number.",
    "Only people trained by the care team do these steps.",
    "If it fails or is unsure: act on your training, and call.",
    "Numbers and practice differ by country: the plan and local practice win.",
)
"""What the user always sees, in short."""

DEMONSTRATION = "INVENTED DEMONSTRATION PLAN: never use it for a person."

Rows = list[tuple[str, str]]

_WAYS = {
    "open": "open: mouth and nose lead to the lungs",
    "hard": "hard: neck hole first, then mouth and nose",
    "none": "NECK-ONLY: mouth and nose lead nowhere",
}


def print_card(plan: Plan, today: date, console: Console, approval: Standing = NOT_YET) -> None:
    """Prints the card; without a terminal the same text comes out plain."""
    if plan.demonstration:
        console.print(Text(DEMONSTRATION, style="bold reverse"))
    console.print(Text(f"Care plan of {plan.patient.name}", style="bold"))
    for title, rows in _groups(plan, approval):
        console.print(Text(f"\n{title}", style="bold"))
        table = Table.grid(padding=(0, 2))
        table.add_column(min_width=22, max_width=28)
        table.add_column(overflow="fold")
        for name, value in rows:
            # Text, not markup: a plan's words are shown as they are.
            table.add_row(Text(f"  {name}"), Text(value))
        console.print(table)
    if doubts := warnings(plan, today):
        console.print(Text("\nTo look at", style="bold"))
        for doubt in doubts:
            console.print(Text(f"  ! {doubt}", style="yellow"))
    console.print()
    for caution in CAUTIONS:
        console.print(Text(caution, style="dim"))


def _groups(plan: Plan, approval: Standing) -> Iterator[tuple[str, Rows]]:
    yield "Patient", _patient(plan)
    yield "Tube", _tube(plan)
    yield "Suction", _suction(plan)
    yield "Rescue", _rescue(plan)
    yield "Oxygen", _oxygen(plan)
    yield "People and phone", _people(plan)
    yield "Record", [("sound of an emergency", "kept on this machine" if plan.keep_sound else "not kept")]
    yield "Approval", [
        ("approved" if approval.holds else "NOT APPROVED", f"This plan is {approval.says}"),
        ("review due", _day(plan.approval.review_due)),
    ]


def _patient(plan: Plan) -> Rows:
    patient = plan.patient
    rows = [
        ("age and weight", f"{patient.age_group}, {patient.weight_kg:g} kg"),
        ("why the tube", patient.why_the_tube),
        ("way to the lungs", _WAYS[plan.airway.way_to_lungs]),
        ("breaths at rest", f"{patient.resting_breaths_a_minute} a minute"),
    ]
    if patient.usual_saturation is not None:
        rows.append(("usual saturation", f"{patient.usual_saturation} %"))
    if patient.act_below_saturation is not None:
        rows.append(("act below", f"{patient.act_below_saturation} %"))
    rows.append(("oximeter", _yes(patient.oximeter)))
    return rows


def _tube(plan: Plan) -> Rows:
    tube = plan.tube
    if tube is None:
        return [("tube", "none")]
    cuff = "none"
    if tube.cuff_ml is not None:
        cuff = f"{tube.cuff_ml:g} mL of {tube.cuff}"
        if tube.cuff_pressure_cmh2o is not None:
            cuff += f", {tube.cuff_pressure_cmh2o:g} cmH2O"
    inner = "no"
    if tube.inner_tube:
        fits = tube.bag_fits_without_inner_tube
        inner = "yes; the bag fits without it" if fits else "yes; THE BAG NEEDS IT"
    smaller = tube.smaller_spare_inside_mm
    change = tube.who_may_change_it or "NOBODY: not to be changed at home"
    rows = [
        ("inside diameter", f"{tube.inside_mm:g} mm"),
        ("cuff", cuff),
        ("inner tube", inner),
        ("usually on the tube", ", ".join(tube.sits_on_it) or "nothing"),
        ("spare, same size", _yes(tube.spare_same_size)),
        ("smaller spare", f"{smaller:g} mm" if smaller is not None else "none"),
        ("guide", _yes(tube.guide)),
        ("first change done", _day(tube.first_change_done)),
        ("changed at home by", change),
    ]
    if tube.over_a_catheter_third_try:
        rows.append(("third try", "over a suction catheter"))
    return rows


def _suction(plan: Plan) -> Rows:
    suction = plan.suction
    past = "once, if the tube is blocked" if suction.past_depth_when_blocked else "never"
    return [
        ("depth", f"{suction.depth_cm:g} cm"),
        ("catheter", f"{suction.catheter_fr:g} Fr"),
        ("vacuum", f"{suction.vacuum_mmhg:g} mmHg"),
        ("longest pass", f"{suction.seconds:g} s"),
        ("past the depth", past),
    ]


def _rescue(plan: Plan) -> Rows:
    rescue, numbers = plan.rescue, plan.numbers()
    first = {"cycle": "finish the cycle, then change", "change": "change at once"}
    pushes, breaths = int(numbers["pushes_a_cycle"]), int(numbers["breaths_a_cycle"])
    cycle = f"{pushes} pushes to {breaths} breaths, {plan.compressions.order}"
    rows = [
        ("ventilator", _yes(plan.ventilator)),
        ("breaths with the bag", f"{numbers['breaths_per_minute']:g} a minute, gentle, 1 s each"),
        ("saline", _ml(rescue.saline_ml)),
        ("chest flat at first", first[rescue.no_rise_first]),
        ("breathe into the tube", "trained" if rescue.mouth_to_tube_trained else "no"),
        ("pushing the chest", cycle if plan.compressions.trained else "untrained: pushes only"),
        ("rate of pushes", f"{numbers['pushes_per_minute']:g} a minute"),
    ]
    if plan.tube is not None and plan.tube.cuff != "none":
        rows.append(("cuff when it bleeds", _ml(rescue.bleeding_cuff_air_ml, "add ", " of air")))
    return rows


def _oxygen(plan: Plan) -> Rows:
    oxygen = plan.oxygen
    if oxygen is None:
        return [("cylinder", "none: room air")]
    rows = [("cylinder", f"{oxygen.cylinder}, {oxygen.gauge_psi:g} psi when this was written")]
    flows = [("usual flow", oxygen.usual_l_min), ("highest flow", oxygen.highest_l_min)]
    for name, flow in flows:
        lasts = ""
        if flow > 0:
            lasts = f", lasts {_lasts(minutes_left(oxygen.cylinder, oxygen.gauge_psi, flow))}"
        rows.append((name, f"{flow:g} L/min{lasts}"))
    return rows


def _people(plan: Plan) -> Rows:
    phone, clinician = plan.phone, plan.clinician
    after = plan.numbers()["call_after_s"]
    return [
        ("helper", str(plan.helper.name) if plan.helper.usual else "usually alone"),
        ("emergency number", phone.number),
        ("dialled without hands", phone.dialled_without_hands),
        ("last tried", _day(phone.last_tested)),
        ("call asked for", "at once" if after == 0 else f"{after:g} s after the start"),
        ("address", ", ".join(phone.address)),
        ("call back", phone.call_back),
        ("door", phone.door),
        ("pets", phone.pets or "none"),
        ("clinician", f"{clinician.name}, {clinician.phone}"),
        ("hospital", clinician.hospital),
    ]


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _day(day: date | None) -> str:
    return day.isoformat() if day else "none"


def _ml(amount: float | None, before: str = "", after: str = "") -> str:
    return "not ordered" if amount is None else f"{before}{amount:g} mL{after}"


def _lasts(minutes: float) -> str:
    # Rounded down: nobody is told of a minute that is not there.
    whole = int(minutes)
    return f"{whole} minutes" if whole < 120 else f"{whole // 60} h {whole % 60} min"
