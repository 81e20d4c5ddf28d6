"""The shape of a flow file: what a protocol may say, step by step. Checked by pydantic, exported as JSON Schema."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from prompter.flow.conditions import parse


class Part(BaseModel):
    """Strict: an unknown word in a flow is an error, never ignored."""

    model_config = ConfigDict(extra="forbid", populate_by_name=True, frozen=True)


def _condition(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a condition is written in words, like `tube is out` or `not helper`")
    return parse(value).text


def _as_list(value: Any) -> Any:
    return value if value is None or isinstance(value, list) else [value]


Condition = Annotated[str, BeforeValidator(_condition)]
If = Annotated[list[Condition], Field(alias="if", default_factory=list, description="all of these must hold")]


class Line(Part):
    """One clip to speak. `set`, `clear`: marks set and taken away when it is spoken."""

    when: If
    say: str
    set: list[str] = []
    clear: list[str] = []


def _line(value: Any) -> Any:
    return {"say": value} if isinstance(value, str) else value


OneLine = Annotated[Line, BeforeValidator(_line, json_schema_input_type=Line | str)]
Lines = Annotated[list[OneLine], BeforeValidator(_as_list, json_schema_input_type=list[Line | str] | Line | str)]


class Effects(Part):
    """What becomes known: facts learned, marks set and cleared, counts."""

    learn: dict[str, str] = {}
    set: list[str] = []
    clear: list[str] = []
    count: list[str] = []
    reset: list[str] = []
    do: str | None = Field(None, description="a name from `effects`")
    call: str | None = Field(None, description="ask for the call at once, with this reason")
    call_is: Literal["on speaker", "no phone", "ended", "at rest"] | None = None
    call_restarts: bool = False


class Arm(Effects):
    """Where an answer (or silence) leads, if its conditions hold. One of `go`, `stay`, `as`."""

    when: If
    go: str | None = Field(None, description="a step, a way, 'back', or 'back-to-here'")
    stay: bool = False
    confirm: bool = Field(False, description="must be said twice")
    say: Lines = []
    say_summary: bool = False


class Silent(Arm):
    """What silence does. Seconds count from the end of the prompt."""

    same_as: str | None = Field(None, alias="as", description="takes the branch of this answer, as assumed")
    repeat_s: float | None = Field(None, gt=0, le=60)
    act_s: float | None = Field(None, gt=0, le=120)
    every_s: float | None = Field(None, gt=0, le=600)
    hold: bool = Field(True, description="'hold on' may hold this up; not so one try at an insertion, or a question while the chest is known to stay flat")


def _arm(value: Any) -> Any:
    return {"go": value} if isinstance(value, str) else value


def _arms(value: Any) -> Any:
    if value is None:
        raise ValueError("it leads nowhere: a step, or { if: [...], go: STEP }, belongs here")
    return [_arm(item) for item in _as_list(value)]


Arms = Annotated[list[Arm], BeforeValidator(_arms, json_schema_input_type=list[Arm | str] | Arm | str)]


class Beat(Part):
    """The beat of a step: breaths (a count, 'rescue' or 'endless'), pushes, or a suction pass."""

    breaths: int | Literal["rescue", "endless"] | None = None
    pushes: bool = False
    suction: bool = False
    through: Literal["tube", "mask"] = "tube"


class Step(Part):
    """One state of care."""

    title: str
    only_if: list[Condition] = []
    otherwise: str | None = Field(None, description="where it goes if `only_if` does not hold")
    needs_reason: bool = Field(False, description="silence alone never comes here: a spoken or keyed reason must stand")
    enter: Effects = Effects()
    say: Lines = []
    beat: Beat | None = None
    then_say: Lines = []
    ask: Lines = []
    ask_at_s: list[float] = []
    ask_every_s: float | None = None
    how: str | None = Field(None, description="what 'how do I' says")
    answers: dict[str, Arms] = {}
    silent: Annotated[list[Silent], BeforeValidator(_as_list, json_schema_input_type=list[Silent] | Silent)] = []
    after: str | None = Field(None, description="where it goes when all is said and the beat is over")
    gap: str | None = Field(None, description="where it goes instead of where the last line of `breath_gap` leads")
    outcome: Literal["better", "handed over", "keep"] | None = None
    final: bool = False
    notes: bool = Field(False, description="what is said here and is no answer is kept as a note, and not asked again")
    visit: bool = Field(False, description="on the way: `back` returns to the step it came from")


class Answer(Part):
    """What people may say for one answer; the first wording is taught and printed."""

    wordings: list[str] = Field(min_length=1)
    risk: Literal["plain", "branch", "good"] = "branch"
    news: Literal["good", "bad"] | None = None
    reason: bool = False
    read_back: str | None = None
    key: str | None = Field(None, min_length=1, max_length=1)

    @property
    def words(self) -> str:
        """How the prompter repeats it."""
        return self.read_back or self.wordings[0]


class WayLine(Part):
    when: If
    go: str


class GapLine(Part):
    """Counts from the last breath; with `since` from when a mark was set or a fact learned, if no breath came after."""

    when: If
    since: str | None = Field(None, description="a mark, or a fact such as 'tube is out'")
    after_s: float = Field(gt=0)
    go: str


class Rules(Part):
    """The times and counts that hold at every step."""

    most_words: int = 12
    most_words_while_paced: int = 5
    reading_grade: float = 6
    test_breaths: int = 2
    ask_after_beat_s: float = 6
    unclear_before_assuming: int = 2
    pause_while_speaking_s: float = 4
    assumed_halves_times: bool = True
    halved_not_below_s: float = 4
    confirm_within_s: float = 10
    hold_s: float = 30
    undo_depth: int = 8
    number_fresh_s: float = 60
    numbers: dict[Literal["spo2", "pulse"], tuple[int, int]]
    number_again: str
    heard: str
    ask_back: str
    confirm: str
    use_key: str
    going_back: str
    holding: str
    continuing: str = "Continuing. {title}"
    breath_gap: list[GapLine]


class CallPart(Part):
    """The emergency call, which runs beside care."""

    after: Literal["plan"] = "plan"
    at_once_if: list[Condition] = Field([], description="asked for at the start, whatever the plan says")
    reminder_s: float = 20
    reminder_without_phone_s: float = 120
    ask: Lines
    ask_paced: str
    remind: str
    remind_without_phone: str
    on_speaker: Lines


class SideFlow(Part):
    """A short protocol for one trouble, which goes on in another flow: the rules, call, effects and words
    that work everywhere are that flow's. Its own name is the name of a way to its start."""

    flow: str
    version: int
    title: str
    goes_on_in: str = Field(description="the flow whose steps, answers, rules and call hold here too")
    start: str
    trade_words: list[str] = []
    answers: dict[str, Answer] = {}
    opposites: dict[str, list[str]] = {}
    ways: dict[str, list[WayLine]] = {}
    steps: dict[str, Step]


class Joined(Part):
    """What remains of one flow when several were joined: whose the steps are."""

    version: int
    title: str
    start: str
    steps: list[str]


class Flow(Part):
    """A whole protocol."""

    flow: str
    version: int
    title: str
    start: str
    switches_to: list[str] = Field([], description="flows that join this one: side flows, which go on in it")
    joined: dict[str, Joined] = Field({}, description="filled in when flows are joined; never written in a file")
    trade_words: list[str] = []
    rules: Rules
    answers: dict[str, Answer]
    opposites: dict[str, list[str]] = Field({}, description="answers that must never be taken for each other")
    effects: dict[str, Effects] = {}
    everywhere: dict[str, Arms]
    summary: Lines = []
    ways: dict[str, list[WayLine]]
    steps: dict[str, Step]
    call: CallPart

    @property
    def covered_steps(self) -> list[str]:
        """The steps of the flows that it covers."""
        return [step for name in self.covers for step in self.joined[name].steps] if self.joined else [*self.steps]

    @property
    def covers(self) -> list[str]:
        """The flows whose care is this one's: a flow with its side flows, or a side flow alone."""
        return [*self.joined] if self.joined and self.flow == self.base else [self.flow]

    @property
    def starts(self) -> list[str]:
        """Where the flows that it covers begin, its own start first."""
        return [self.start, *(self.joined[name].start for name in self.covers if name != self.flow)]

    @property
    def base(self) -> str:
        """The flow that the joined ones go on in: the same for all of them."""
        return next(iter(self.joined), self.flow)

    @model_validator(mode="before")
    @classmethod
    def _approval_lies_beside(cls, data: Any) -> Any:
        # Flows of earlier versions said in themselves who approved them, and journals hold such
        # flows: it approves nothing (care/approval.py).
        return {key: data[key] for key in data if key != "approval"} if isinstance(data, dict) else data
