"""What a walk found, and the way to a fault."""

from dataclasses import dataclass, field

from prompter.events import Record
from prompter.proof.watch import Findings


@dataclass
class Walked:
    """What one walk found."""

    age: str
    coarse: int = 0
    states: int = 0
    moves: int = 0
    seconds: float = 0.0
    findings: Findings = field(default_factory=Findings)
    traces: dict[str, "Path"] = field(default_factory=dict)
    cues: str = ""
    left: int = 0
    depth: int = 0
    classes: int = 0
    late: int = 0  # states walked again, later


@dataclass
class Path:
    """The events that lead to a fault, and in which plan."""

    age: str
    helper: bool
    decided: dict[str, str | bool]
    events: list[Record | int]
    start: str = ""  # the step it begins at; empty: the flow's own
