"""What the review quotes from plan, flow and opening event: any of it may be missing."""

import re
from typing import Any

from prompter.care.reading import read_yaml_text
from prompter.errors import CannotDo
from prompter.review.timed import Timed


class PlanFacts:
    """The plan that was in force, as the journal's first event embeds it."""

    def __init__(self, opened: Timed | None) -> None:
        self.opened = opened.fields if opened is not None and opened.kind == "opened" else {}
        self._plan = mapping(self.opened.get("plan_text"))
        self._flow = _top_lines(self.opened.get("flow_text"))

    @property
    def ventilated(self) -> bool:
        return self._plan.get("ventilator") in (True, "yes")

    def get(self, group: str, name: str) -> Any:
        """A value of the plan, such as ('suction', 'depth_cm'); None if it is not there."""
        part = self._plan.get(group)
        return part.get(name) if isinstance(part, dict) else None

    @property
    def there(self) -> bool:
        return bool(self._plan)

    @property
    def patient(self) -> str:
        return str(self.get("patient", "name") or "the patient")

    @property
    def is_demo(self) -> bool:
        """True if the plan calls itself a demonstration."""
        return self._plan.get("demonstration") in (True, "yes")

    @property
    def is_rehearsal(self) -> bool:
        """True if a simulated caregiver was talking."""
        return self.opened.get("live") is False or (
            self.opened.get("live") is not True and self.opened.get("seed") is not None
        )

    @property
    def plan_line(self) -> str:
        """Version and approval of plan and flow, for people."""
        if not self.there:
            return "There was no readable plan: the prompter spoke without numbers."
        demo = " (an invented demonstration plan)" if self.is_demo else ""
        return f"For {self.patient}{demo}: {self._stood('plan')}"

    @property
    def flow_line(self) -> str:
        name = str(self.opened.get("flow") or self._flow.get("flow") or "unknown")
        version = self._flow.get("version")
        program = self.opened.get("version")
        return (
            f"{name}{f' version {version}' if version else ''}: {self._stood('flow')}"
            f"{f' Prompter {program}.' if program else ''}"
        )

    def _stood(self, what: str) -> str:
        """How plan or flow stood that day; journals of before did not write it down."""
        told = self.opened.get("approval")
        says = told.get(what) if isinstance(told, dict) else None
        return f"{says or 'whether it was approved is not in this journal'}".rstrip(".") + "."

    def call_after_s(self) -> float | None:
        """Seconds until the call is due: the plan's, or the default (0 with a helper, 30 alone)."""
        value = self._plan.get("call_after_s")
        if isinstance(value, int | float):
            return float(value)
        helper = self.get("helper", "usual")
        return None if helper is None else 0.0 if helper in (True, "yes") else 30.0


def mapping(text: Any) -> dict[Any, Any]:
    """A YAML text's mapping; empty if it is none."""
    try:
        return read_yaml_text(text, "plan").data if isinstance(text, str) else {}
    except CannotDo:
        return {}


def _top_lines(text: Any) -> dict[str, str]:
    """The one-line entries at the top: a damaged flow has them all the same."""
    found = (
        re.findall(r"^(\w+):[ \t]+([^\n#|>]+)", text, re.MULTILINE) if isinstance(text, str) else []
    )
    # Side flows stand after the one that began: the first counts.
    return {name: value.strip().strip("\"'") for name, value in reversed(found)}
