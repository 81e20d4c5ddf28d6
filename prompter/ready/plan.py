"""Looks at the care plan: found, readable, approved, in date; and what is suspicious in it."""

from datetime import date
from pathlib import Path

from prompter.care.doubts import not_in_force, warnings
from prompter.care.plan import Plan, load_plan
from prompter.errors import CannotDo
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
    approval = plan.approval
    if reasons:
        mend = "Go through it with the clinician, then: prompter plan new --from FILE"
        approved = Check("approval", "not ok", " ".join(reasons), mend)
    else:
        due = f", review due {approval.review_due}" if approval.review_due else ""
        approved = Check("approval", "ok", f"by {approval.approved_by}, {approval.approved_on}{due}.")
    return plan, [Check("care plan", "ok", f"{path}, for {plan.patient.name}.", doubts=doubts), approved]
