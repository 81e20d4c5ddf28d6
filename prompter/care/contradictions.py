"""What in a plan cannot be true together. Each check runs as soon as its values are known.

A check names the dotted paths it reads; its problem is reported at the last of them. So the same
table serves a whole plan, a plan with other faults, and the questions of `prompter plan new`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from prompter.care import catheter
from prompter.care.breathing import AgeGroup


@dataclass(frozen=True, slots=True)
class Contradiction:
    """`path`: where it is reported, such as 'suction.catheter_fr'."""

    path: str
    what: str
    mend: str


Finding = tuple[str, str] | None
_CHECKS: list[tuple[tuple[str, ...], Callable[..., Finding]]] = []


def _check(*paths: str) -> Callable[[Callable[..., Finding]], Callable[..., Finding]]:
    def keep(function: Callable[..., Finding]) -> Callable[..., Finding]:
        _CHECKS.append((paths, function))
        return function

    return keep


def contradictions(values: Mapping[str, Any], at: str | None = None) -> list[Contradiction]:
    """All contradictions among `values` (dotted path -> valid value; 'tube', 'oxygen': is there one).

    With `at`, only the checks that read this path. A check whose values are not all known waits.
    """
    found = []
    for paths, function in _CHECKS:
        if (at is not None and at not in paths) or not all(path in values for path in paths):
            continue
        if finding := function(*(values[path] for path in paths)):
            found.append(Contradiction(paths[-1], *finding))
    return found


# ---- the patient and the way to the lungs ------------------------------------------------------


@_check("airway.way_to_lungs", "airway.can_breathe_through_mouth_or_nose")
def _way(way: str, breathes: str) -> Finding:
    if breathes in {"open": ("yes",), "hard": ("yes", "partly"), "none": ("no",)}[way]:
        return None
    mend = (
        "Ask the clinician whether any air passes between mouth and lungs:"
        " none and no if nothing does; hard and partly if a little does; open and yes if it is free."
    )
    return f"the way to the lungs is '{way}', but breathing by mouth or nose is '{breathes}'.", mend


@_check("patient.usual_saturation", "patient.act_below_saturation")
def _floor(usual: int | None, floor: int | None) -> Finding:
    if usual is None or floor is None or floor < usual:
        return None
    return (
        f"the floor of {floor} % is not below the usual saturation of {usual} %.",
        "Write a floor lower than the usual saturation.",
    )


@_check("patient.oximeter", "patient.usual_saturation", "patient.act_below_saturation")
def _oximeter(oximeter: bool, usual: int | None, floor: int | None) -> Finding:
    if not oximeter or (usual is not None and floor is not None):
        return None
    return (
        "there is an oximeter, but the usual saturation or the floor is missing.",
        "Write both numbers, or oximeter: no.",
    )


# ---- the tube ----------------------------------------------------------------------------------


@_check("airway.way_to_lungs", "tube")
def _no_tube(way: str, tube: bool) -> Finding:
    if tube or way == "none":
        return None
    return (
        f"there is no tube, but the way to the lungs is '{way}'.",
        "Only a neck-only patient (way_to_lungs: none) is without a tube here; describe the tube.",
    )


@_check("airway.way_to_lungs", "tube.sits_on_it")
def _closed_above(way: str, sits: list[str]) -> Finding:
    closing = [thing for thing in sits if thing in ("cap", "valve")]
    if way != "none" or not closing:
        return None
    return (
        f"a {closing[0]} sits on the tube of a patient who cannot breathe out by mouth or nose.",
        f"Ask the clinician; then take '{closing[0]}' from sits_on_it or correct way_to_lungs.",
    )


@_check("tube.sits_on_it")
def _twice(sits: list[str]) -> Finding:
    if len(set(sits)) == len(sits):
        return None
    return "the same thing is listed twice.", "Name each of cap, valve, filter once."


@_check("tube.cuff", "tube.cuff_ml")
def _cuff_volume(cuff: str, cuff_ml: float | None) -> Finding:
    if cuff == "none" and cuff_ml is not None:
        return "there is a cuff volume, but no cuff.", "Write cuff_ml: none, or cuff: air or water."
    if cuff != "none" and cuff_ml is None:
        return (
            f"the tube has a cuff with {cuff}, but no volume.",
            "Write the ordered millilitres as cuff_ml, or cuff: none.",
        )
    return None


@_check("tube.cuff", "tube.cuff_pressure_cmh2o")
def _cuff_pressure(cuff: str, pressure: float | None) -> Finding:
    if cuff != "none" or pressure is None:
        return None
    return "there is a cuff pressure, but no cuff.", "Write cuff_pressure_cmh2o: none."


@_check("tube.cuff", "rescue.bleeding_cuff_air_ml")
def _bleeding_cuff(cuff: str, air_ml: float | None) -> Finding:
    if cuff != "none" or air_ml is None:
        return None
    return "air for a bleeding cuff is ordered, but there is no cuff.", "Write: not ordered."


@_check("tube.inner_tube", "tube.bag_fits_without_inner_tube")
def _inner_tube(inner: bool, fits: bool) -> Finding:
    if inner or fits:
        return None
    return (
        "the bag is said to need an inner tube, but there is none.",
        "Write inner_tube: yes, or bag_fits_without_inner_tube: yes.",
    )


@_check("tube.inside_mm", "tube.smaller_spare_inside_mm")
def _smaller_spare(inside_mm: float, spare_mm: float | None) -> Finding:
    if spare_mm is None or spare_mm < inside_mm:
        return None
    return (
        f"the smaller spare ({spare_mm:g} mm) is not smaller than the tube ({inside_mm:g} mm).",
        "Write the inside diameter printed on the smaller spare.",
    )


@_check("tube.first_change_done", "tube.change_allowed_at_home")
def _first_change(done: date | None, allowed: bool) -> Finding:
    if done is not None or not allowed:
        return None
    return (
        "a change at home is allowed, but the care team's first change is not done.",
        "Write the day of the first change, or change_allowed_at_home: no.",
    )


@_check("tube.change_allowed_at_home", "tube.who_may_change_it")
def _who(allowed: bool, who: str | None) -> Finding:
    if allowed == (who is not None):
        return None
    if allowed:
        return "a change at home is allowed, but to nobody.", "Write who is trained to change it."
    return (
        "somebody may change the tube, but a change at home is not allowed.",
        "Write who_may_change_it: none, or change_allowed_at_home: yes.",
    )


@_check(
    "tube.change_allowed_at_home",
    "tube.trained_over_a_catheter",
    "tube.over_a_catheter_third_try",
)
def _over_a_catheter(allowed: bool, trained: bool, third_try: bool) -> Finding:
    if not third_try or (trained and allowed):
        return None
    lacks = "training for it" if allowed else "leave to change the tube at home"
    return (
        f"a third try over a catheter is ordered without {lacks}.",
        "Write over_a_catheter_third_try: no until the care team has trained it.",
    )


# ---- suction -----------------------------------------------------------------------------------


@_check("patient.age_group", "tube.inside_mm", "suction.catheter_fr")
def _lumen(age_group: AgeGroup, inside_mm: float, fr: float) -> Finding:
    if catheter.fits(fr, inside_mm, age_group):
        return None
    share, limit = catheter.lumen_share(fr, inside_mm), catheter.LUMEN_SHARE_LIMIT[age_group]
    largest = catheter.largest_fr(inside_mm)
    blocks = f"blocks {share:.0%} of" if share < 1 else "does not go into"
    return (
        f"a {fr:g} Fr catheter {blocks} a {inside_mm:g} mm tube; it must be below {limit:.0%}.",
        f"Ask for {largest} Fr or smaller." if largest else "Ask the clinician for the gauge.",
    )


@_check("patient.age_group", "suction.vacuum_mmhg")
def _vacuum(age_group: AgeGroup, vacuum_mmhg: float) -> Finding:
    limit = catheter.VACUUM_LIMIT_MMHG[age_group]
    if vacuum_mmhg < limit:
        return None
    return (
        f"{vacuum_mmhg:g} mmHg is too strong for this {age_group}.",
        f"The guideline's vacuum is below {limit:g} mmHg: ask the clinician.",
    )


@_check("suction.seconds")
def _pass_limit(seconds: float) -> Finding:
    if seconds <= catheter.PASS_LIMIT_S:
        return None
    return (
        f"a suction pass of {seconds:g} s is too long.",
        f"No pass is longer than {catheter.PASS_LIMIT_S:g} s: ask the clinician.",
    )


# ---- oxygen, ventilator, people, dates ---------------------------------------------------------


@_check("oxygen.usual_l_min", "oxygen.highest_l_min")
def _flow(usual: float, highest: float) -> Finding:
    if usual <= highest:
        return None
    return (
        f"the usual flow ({usual:g} L/min) is above the highest ({highest:g} L/min).",
        "Correct one of the two.",
    )


@_check("tube", "ventilator")
def _ventilator(tube: bool, ventilator: bool) -> Finding:
    if tube or not ventilator:
        return None
    return "there is a ventilator, but no tube.", "Describe the tube, or write ventilator: no."


@_check("helper.usual", "helper.name")
def _helper(usual: bool, name: str | None) -> Finding:
    if not usual or name is not None:
        return None
    return "a helper is usually there, but has no name.", "Write the helper's short name."


@_check("patient.name", "helper.name")
def _same_name(patient: str, helper: str | None) -> Finding:
    if helper is None or patient.casefold() != helper.casefold():
        return None
    return (
        f"patient and helper are both called '{patient}'.",
        "Use a nickname for one of them: the prompter speaks to the helper by name.",
    )


@_check("approval.approved_by", "approval.approved_on")
def _approval(who: str | None, when: date | None) -> Finding:
    if (who is None) == (when is None):
        return None
    return "an approval needs both a name and a day.", "Write both, or none for both."


@_check("approval.approved_on", "approval.review_due")
def _review(approved: date | None, due: date | None) -> Finding:
    if approved is None or (due is not None and approved < due):
        return None
    if due is None:
        return "the plan is approved, but has no day of review.", "Write the day of the next review."
    return (
        f"the review ({due}) is not after the approval ({approved}).",
        "Correct one of the two days.",
    )
