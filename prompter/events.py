"""What happened and what to do: the small frozen dataclasses that every room may know.

Events go into the flow machine, cues come out of it. All times are integer milliseconds of the
session's own clock (0 = start); the machine never looks at a clock of its own. Every class has a
`kind`, which is its name in the journal, and round-trips through `to_record` / `from_record`.
"""

from dataclasses import asdict, dataclass, fields
from typing import Any, ClassVar, Literal

Risk = Literal["plain", "branch", "good"]
How = Literal["spoken", "keyed", "assumed", "timed"]
KINDS: dict[str, type["Record"]] = {}


@dataclass(frozen=True, slots=True)
class Record:
    """Common part of events and cues."""

    kind: ClassVar[str] = ""
    at_ms: int

    def __init_subclass__(cls, kind: str = "", **rest: Any) -> None:
        super(Record, cls).__init_subclass__(**rest)
        # slots=True makes the class a second time, without the keyword: the last one counts.
        if kind := kind or cls.__dict__.get("kind", ""):
            cls.kind = kind
            KINDS[kind] = cls

    def to_record(self) -> dict[str, Any]:
        """A JSON-ready dict with `kind` first."""
        return {"kind": self.kind, **asdict(self)}


def from_record(record: dict[str, Any]) -> "Record":
    """The inverse of `to_record`; unknown fields are ignored. Raises KeyError on an unknown kind."""
    cls = KINDS[record["kind"]]
    names = {f.name for f in fields(cls)}
    return cls(**{k: v for k, v in record.items() if k in names})


# ---- what the hearing room may be told to listen for -------------------------------------------


@dataclass(frozen=True, slots=True)
class Phrase:
    """One wording that is allowed now, the answer it stands for, and how sure we must be.

    `risk`: 'plain' moves one step on; 'branch' picks a way; 'good' is good news, the strictest.
    """

    text: str
    answer: str
    risk: Risk = "branch"


# ---- events: into the machine ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Started(Record, kind="started"):
    """The emergency begins."""


@dataclass(frozen=True, slots=True)
class Resumed(Record, kind="resumed"):
    """The prompter was stopped (power, a crash) and goes on where its journal ends.

    `gap_ms`: the time before this of which nothing is known; None: not even how long it was.
    """

    gap_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Answered(Record, kind="answered"):
    """A believed answer. `score` is None when keyed."""

    answer: str
    wording: str
    how: How = "spoken"
    score: float | None = None


@dataclass(frozen=True, slots=True)
class Numbered(Record, kind="numbered"):
    """A number said or keyed; `quantity` is 'spo2' (percent) or 'pulse' (a minute)."""

    quantity: str
    value: int
    how: How = "spoken"
    score: float | None = None


@dataclass(frozen=True, slots=True)
class Unclear(Record, kind="unclear"):
    """An utterance that was not believed. `heard` is the best wording, if anything was scored.

    `answer` is that wording's answer: the machine asks it back, and the same again means yes. So it
    does with a number (`quantity`, `value`), if that is `near` enough to what was said to be read back.
    """

    heard: str | None = None
    answer: str | None = None
    score: float | None = None
    quantity: str | None = None
    value: int | None = None
    near: bool = True


@dataclass(frozen=True, slots=True)
class SpeechStarted(Record, kind="speech started"):
    """Somebody began to speak: silent deadlines pause (a few seconds at most)."""


@dataclass(frozen=True, slots=True)
class SpeechEnded(Record, kind="speech ended"):
    """The utterance ended."""


@dataclass(frozen=True, slots=True)
class PromptEnded(Record, kind="prompt ended"):
    """The clip of cue number `cue` has been played to its end, or cut."""

    cue: int
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Ticked(Record, kind="ticked"):
    """Time has passed; carries nothing else."""


@dataclass(frozen=True, slots=True)
class Failed(Record, kind="failed"):
    """A part (microphone, loudspeaker, voice, ear, disk, screen) was lost."""

    part: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Recovered(Record, kind="recovered"):
    """A lost part is back."""

    part: str


# ---- cues: out of the machine ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Say(Record, kind="say"):
    """Speak one clip. `cue` numbers it; `role` tells whose part it is.

    Roles: 'care' (an action), 'question', 'echo' ("I heard: …"), 'call', 'helper', 'notice'.
    """

    cue: int
    text: str
    role: str
    step: str


@dataclass(frozen=True, slots=True)
class Tone(Record, kind="tone"):
    """A short tone. `name` is 'noted' (an action was heard)."""

    cue: int
    name: str


@dataclass(frozen=True, slots=True)
class Pace(Record, kind="pace"):
    """Start a beat. It replaces the beat that runs.

    `what`: 'breaths' | 'pushes' | 'suction'. `count`: that many, None: until stopped.
    For pushes `pushes_a_cycle` and `breaths_a_cycle` give the ratio (breaths 0: pushes only).
    For suction `count` is the seconds until "Out now.".
    """

    cue: int
    what: str
    per_minute: float
    count: int | None = None
    pushes_a_cycle: int = 0
    breaths_a_cycle: int = 0


@dataclass(frozen=True, slots=True)
class PaceStopped(Record, kind="pace stopped"):
    """The beat ends."""


@dataclass(frozen=True, slots=True)
class Moved(Record, kind="moved"):
    """One of the two machines ('care', 'call') went from step to step, and how it is known."""

    machine: str
    source: str
    target: str
    how: How
    answer: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Learned(Record, kind="learned"):
    """A fact of the patient or tube changed, such as tube = 'out' or breathing = 'no'."""

    what: str
    value: str
    how: How


@dataclass(frozen=True, slots=True)
class Refused(Record, kind="refused"):
    """An event that changes nothing here, with the reason."""

    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Closed(Record, kind="closed"):
    """The flow ended. Outcome: 'better' | 'handed over' | 'open'."""

    outcome: str
