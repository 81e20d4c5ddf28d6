"""What is suspicious in a plan but does not stop it: an emergency uses the plan there is."""

from collections.abc import Iterator
from datetime import date

from prompter.care import breathing, catheter, cylinder
from prompter.care.plan import Plan

PHONE_TEST_DAYS = 90
"""Dialling without hands is tried again after this (common practice, no source)."""

SALINE_USUAL_ML = 2.0
"""Common practice, no source."""

CUFF_PRESSURE_CMH2O = (20.0, 30.0)
"""Commonly taught range, from memory."""

SPARE_STEP_MM = {"infant": 0.5, "child": 0.5, "adult": 1.0}
"""Half a millimetre smaller for a child, one full size for an adult (a children's hospital's public
go-bag instructions); a full size taken as 1 mm of inside diameter (common practice)."""

OXYGEN_MINUTES = 10
"""Less at the highest flow is doubted: help takes about that long (common practice, no source)."""

CALL_AFTER_S = 60
"""A later call is doubted (common practice, no source)."""

WEIGHT_KG = {"infant": (1.5, 14.0), "child": (5.0, 90.0), "adult": (30.0, 250.0)}
"""Outside, age group or weight is probably a slip (common practice, no source)."""


def not_in_force(plan: Plan, today: date) -> list[str]:
    """Why the plan should not be in use: not approved, or its review overdue. Usable all the same."""
    approval = plan.approval
    if approval.approved_by is None:
        return ["This plan is not approved by a clinician."]
    if approval.review_due is not None and approval.review_due < today:
        return [f"The review of this plan is overdue since {approval.review_due}."]
    return []


def warnings(plan: Plan, today: date) -> list[str]:
    """One sentence for each doubt, those of `not_in_force` first."""
    return [
        *not_in_force(plan, today),
        *_dates(plan, today),
        *_people(plan),
        *_tube(plan),
        *_orders(plan),
    ]


def _dates(plan: Plan, today: date) -> Iterator[str]:
    tested = plan.phone.last_tested
    if plan.demonstration:
        pass  # nobody dials from it
    elif tested is None:
        yield "Dialling without hands was never tried."
    elif (today - tested).days > PHONE_TEST_DAYS:
        yield f"Dialling without hands was last tried on {tested}: try it again."
    days = {
        "approval": plan.approval.approved_on,
        "phone test": tested,
        "first tube change": plan.tube.first_change_done if plan.tube else None,
    }
    for name, day in days.items():
        if day is not None and day > today:
            yield f"The day of the {name} ({day}) is in the future."


def _people(plan: Plan) -> Iterator[str]:
    patient = plan.patient
    least, most = WEIGHT_KG[patient.age_group]
    if not least <= patient.weight_kg <= most:
        yield f"{patient.weight_kg:g} kg is unusual for this age group ({patient.age_group})."
    if patient.act_below_saturation is not None and patient.act_below_saturation < 85:
        yield f"The saturation floor of {patient.act_below_saturation} % is low."
    if plan.call_after_s is not None and plan.call_after_s > CALL_AFTER_S:
        yield f"The call for help is asked for only after {plan.call_after_s:g} seconds."


def _tube(plan: Plan) -> Iterator[str]:
    tube = plan.tube
    if tube is None:
        return
    step = SPARE_STEP_MM[plan.patient.age_group]
    spare = tube.smaller_spare_inside_mm
    if spare is None:
        yield "There is no smaller spare tube."
    elif abs(tube.inside_mm - spare - step) > 0.01:
        yield (
            f"The smaller spare is {tube.inside_mm - spare:.2g} mm smaller;"
            f" {step:g} mm is usual for this age group ({plan.patient.age_group})."
        )
    if tube.change_allowed_at_home and not tube.spare_same_size:
        yield "The tube may be changed at home, but there is no spare of the same size."
    if tube.cuff != "none" and "valve" in tube.sits_on_it:
        yield "A valve sits on a cuffed tube: the cuff must be empty while it is on."
    if tube.cuff == "water" and plan.rescue.bleeding_cuff_air_ml is not None:
        yield "Air is ordered for bleeding, but the cuff holds water."
    low, high = CUFF_PRESSURE_CMH2O
    if tube.cuff_pressure_cmh2o is not None and not low <= tube.cuff_pressure_cmh2o <= high:
        yield (
            f"The cuff pressure of {tube.cuff_pressure_cmh2o:g} cmH2O is outside the usual"
            f" {low:g} to {high:g}."
        )
    share = catheter.lumen_share(plan.suction.catheter_fr, tube.inside_mm)
    if share >= catheter.LUMEN_SHARE_LIMIT["child"]:
        yield f"The suction catheter blocks {share:.0%} of the tube; under 50% is safer."


def _orders(plan: Plan) -> Iterator[str]:
    age_group = plan.patient.age_group
    usual_s = catheter.PASS_USUAL_S[age_group]
    if plan.suction.seconds > usual_s:
        yield (
            f"A suction pass of {plan.suction.seconds:g} s is long; {usual_s:g} s is usual"
            f" for this age group ({age_group})."
        )
    if plan.rescue.saline_ml is not None and plan.rescue.saline_ml > SALINE_USUAL_ML:
        yield f"{plan.rescue.saline_ml:g} mL of saline is more than the usual {SALINE_USUAL_ML:g}."
    rate = plan.rescue.breaths_a_minute
    low, high = breathing.RATE_BAND_PER_MINUTE[age_group]
    if rate is not None and not low <= rate <= high:
        yield (
            f"{rate:g} breaths a minute is outside the usual {low:g} to {high:g}"
            f" for this age group ({age_group})."
        )
    if plan.oxygen is not None:
        minutes = cylinder.minutes_left(
            plan.oxygen.cylinder, plan.oxygen.gauge_psi, plan.oxygen.highest_l_min
        )
        if minutes < OXYGEN_MINUTES:
            yield f"The oxygen lasts only {minutes:.0f} minutes at the highest flow."
