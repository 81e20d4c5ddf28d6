"""Who approved a plan or a flow, until when, and for exactly which bytes: a small file beside it.

Where there is such a file it alone counts: a line in a plan can be copied with it, a hash of its bytes
cannot. A plan without one stands as it says of itself, with its day of review.
"""

import hashlib
import json
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from prompter.care.doubts import not_in_force
from prompter.care.place import write_private
from prompter.care.plan import Plan
from prompter.errors import CannotDo

State = Literal["approved", "not approved", "changed", "outdated", "unreadable"]

LONGEST_DAYS = 2 * 366
"""A later end is refused as a slip: children grow, tubes change (common practice, no source)."""

SIDECAR_BYTES_MAX = 10_000
"""A larger file beside a plan is no approval."""


class Approval(BaseModel):
    """The content of the file beside. `sha256`: of the approved file's bytes, 64 hex digits."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    file: str
    sha256: str = Field(pattern="^[0-9a-f]{64}$")
    by: str = Field(min_length=1)
    role: str = Field(min_length=1)
    on: date
    until: date


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether a file may be used today. `says` goes on after its name: "not approved by …"."""

    state: State
    says: str
    approval: Approval | None = None

    @property
    def holds(self) -> bool:
        """Approved, unchanged, and in date."""
        return self.state == "approved"


def sidecar_of(file: Path) -> Path:
    """`plan.yaml` -> `plan.yaml.approval.json`, in the same folder."""
    return file.with_name(f"{file.name}.approval.json")


NOT_YET = Standing("not approved", "not approved by a clinician.")

INVENTED = Standing("not approved", "an invented demonstration and not approved: never use it for a person.")


def standing(file: Path, today: date, invented: bool = False) -> Standing:
    """How the file stands today, whatever lies beside it. Never raises; the last day still counts.

    `invented`: it is a demonstration, which nobody can approve.
    """
    if invented:
        return INVENTED
    beside = sidecar_of(file)
    try:
        with beside.open("rb") as stream:
            text = stream.read(SIDECAR_BYTES_MAX + 1)
        approval = Approval.model_validate_json(text)
        digest = _sha256(file)
    except FileNotFoundError:
        return NOT_YET
    except (OSError, ValueError):
        return Standing("unreadable", f"not approved: {beside.name} beside it cannot be read.")
    if digest != approval.sha256:
        says = f"changed since {approval.by} approved it ({approval.on}): no longer approved."
        return Standing("changed", says, approval)
    if today < approval.on:
        says = f"approved for a day to come ({approval.on}): look at this computer's clock."
        return Standing("not approved", says, approval)
    if today > approval.until:
        says = f"no longer approved: the approval by {approval.by} ended on {approval.until}."
        return Standing("outdated", says, approval)
    says = f"approved by {approval.by}, {approval.role}, {approval.on}; until {approval.until}."
    return Standing("approved", says, approval)


def plan_standing(plan: Plan, file: Path, today: date) -> Standing:
    """How a plan stands: by the file beside it, if there is one; an overdue review ends that too."""
    reasons = not_in_force(plan, today)
    beside = standing(file, today) if sidecar_of(file).exists() else None
    if beside is not None and not (beside.holds and plan.approval.approved_by and reasons):
        return beside
    if plan.approval.approved_by is None:
        return NOT_YET
    if reasons:
        return Standing("outdated", f"no longer approved: its review was due on {plan.approval.review_due}.")
    if plan.demonstration:
        return Standing("approved", "an invented demonstration: never use it for a person.")
    on = plan.approval.approved_on
    return Standing("approved", f"approved by {plan.approval.approved_by}, {on}, as it says itself; nothing seals it.")


def new_approval(file: Path, by: str, role: str, until: date, today: date) -> Approval:
    """What would be written for these bytes. Raises CannotDo for an empty name or an odd day."""
    for option, value in (("--by", by), ("--role", role)):
        if not value.strip():
            raise CannotDo("this is empty.", option, "Give the clinician's name and role.")
    if not today < until <= today + timedelta(days=LONGEST_DAYS):
        mend = f"Give a day after {today}, at most two years ahead, such as {today.year + 1}-01-31."
        raise CannotDo(f"{until} cannot be the last day.", "--until", mend)
    try:
        digest = _sha256(file)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotDo(f"cannot be read: {reason}.", str(file), "Check the name.") from None
    try:
        return Approval(
            file=file.name, sha256=digest, by=_line(by), role=_line(role), on=today, until=until
        )
    except ValidationError as error:
        raise CannotDo(error.errors()[0]["msg"] + ".", str(file), "Correct it.") from None


def write_approval(file: Path, approval: Approval) -> Path:
    """Puts it beside the file, readable by this user alone. Raises CannotDo."""
    if not file.is_file() or _sha256(file) != approval.sha256:
        raise CannotDo("the file changed meanwhile.", str(file), "Read it again, then approve it.")
    beside = sidecar_of(file)
    write_private(beside, json.dumps(approval.model_dump(mode="json"), indent=1, ensure_ascii=False) + "\n")
    return beside


def _line(text: str) -> str:
    return " ".join(text.split())


def _sha256(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()
