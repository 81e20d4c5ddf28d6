"""Looks at care plan and protocol: readable, approved, in date; and what is suspicious in the plan."""

from datetime import date
from pathlib import Path

from prompter.care.approval import Standing, plan_standing
from prompter.care.doubts import not_in_force, warnings
from prompter.care.plan import Plan, load_plan
from prompter.errors import CannotDo
from prompter.flow.family import least_approved
from prompter.ready.check import Check


def look_at_plan(path: Path, today: date) -> tuple[Plan | None, list[Check]]:
    """The plan in `path`, if it can be used, and what was found."""
    try:
        plan = load_plan(path)
    except CannotDo as error:
        found = f"{error.where or path}: {error.what}"
        return None, [
            Check("care plan", "not ok", found, error.mend or "prompter plan new"),
            Check("approval", "could not be tried", "there is no plan to look at.", "See the plan."),
        ]
    if plan.demonstration:
        return None, [
            Check("care plan", "not ok", f"{path} is the invented demonstration.", "prompter plan new"),
            Check("approval", "could not be tried", "there is no plan to look at.", "See the plan."),
        ]
    reasons = not_in_force(plan, today)
    doubts = tuple(doubt for doubt in warnings(plan, today) if doubt not in reasons)
    approved = _approval("approval", "plan", path, plan_standing(plan, path, today))
    return plan, [Check("care plan", "ok", f"{path}, for {plan.patient.name}.", doubts=doubts), approved]


def look_at_approval(name: str, noun: str, path: Path, today: date) -> Check:
    """Whether a clinician approved exactly this `noun` ("plan", "flow", with what it switches to), and it is in date."""
    return _approval(name, noun, *least_approved(path, today))


def _approval(name: str, noun: str, path: Path, found: Standing) -> Check:
    if found.holds:
        return Check(name, "ok", f"this {noun} is {found.says}")
    mend = f"Go through it with the clinician, then: prompter {noun} approve {path}"
    return Check(name, "not ok", f"this {noun} is {found.says}", mend)
