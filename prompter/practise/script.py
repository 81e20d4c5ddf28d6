"""How a simulated caregiver behaves: the shape of a rehearsal script, and its reading."""

import difflib
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from prompter.care.reading import Document, Sort, read_yaml
from prompter.errors import CannotDo
from prompter.flow.document import Flow
from prompter.resources import data_folder

_SORT = Sort("rehearsal script", "Name a file such as shared/scripts/suction-clears-it.yaml.", 2_000, 8)


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Turn(Part):
    """What the caregiver does once at a step. Exactly one of the first six.

    `say`: an answer (any of its wordings is drawn) or one of its wordings. `number`: a saturation,
    said. `silent`: nothing. `mumble`: words nobody can make out. `aside`: talk to somebody else.
    `key`: a key, pressed. `after_s`: from the end of the prompt (drawn if left out).
    `during_beat`: without waiting for the beat (a suction pass) to end.
    """

    say: str | None = None
    number: int | None = None
    silent: bool = False
    mumble: bool = False
    aside: str | None = None
    key: str | None = None
    after_s: float | None = Field(None, ge=0, le=120)
    during_beat: bool = False


def _turn(value: Any) -> Any:
    return {"say": value} if isinstance(value, str) else value


def _turns(value: Any) -> Any:
    items = value if isinstance(value, list) else [value]
    return [_turn(item) for item in items]


class Noise(Part):
    kind: str
    snr_db: float = Field(ge=-10, le=60)


class Expected(Part):
    """`path`: steps that are passed in this order (others may lie between). `never`: steps not met."""

    outcome: str
    path: list[str] = Field(min_length=1)
    never: list[str] = []
    asked_again_most: int = 4
    assumed_most: int = 0


class Script(Part):
    """A whole emergency as one caregiver meets it."""

    script: str
    title: str
    flow: str = "breathing-trouble"
    plan: str = "demo-plan"
    noise: Noise | None = None
    reaction_s: tuple[float, float] = (0.5, 1.6)
    action_s: tuple[float, float] = (1.5, 4.0)
    does: dict[str, Annotated[list[Turn], BeforeValidator(_turns)]]
    otherwise: Annotated[Turn, BeforeValidator(_turn)] = Field(
        Turn(silent=True), description="at steps without a line; 'done' where it is an answer"
    )
    speaker_after_s: float | None = Field(None, description="'phone on speaker', this long after the call is asked for")
    ends_after_s: float = Field(600, gt=0, le=3600, description="the caregiver stops here")
    expect: Expected


def load_script(path: str | Path, flow: Flow | None = None) -> Script:
    """Raises CannotDo with file and line."""
    document = read_yaml(path, _SORT)
    try:
        script = Script.model_validate(document.data)
    except ValidationError as error:
        details = error.errors(include_url=False)
        # A misspelt word is also a missing one: name the misspelling.
        detail = next((d for d in details if d["type"] == "extra_forbidden"), details[0])
        name = ".".join(str(part) for part in detail["loc"])
        raise CannotDo(
            f"`{name}`: {detail['msg'].removeprefix('Value error, ')}.",
            document.where(detail["loc"]),
            "See the scripts in shared/scripts/ for the words a script may use.",
        ) from None
    _check_turns(script, document)
    if flow is not None:
        _check_names(script, flow, document)
    return script


def _check_turns(script: Script, document: Document) -> None:
    for step, turns in script.does.items():
        for index, turn in enumerate(turns):
            chosen = [turn.say is not None, turn.number is not None, turn.silent, turn.mumble, turn.aside is not None, turn.key is not None]
            if sum(chosen) != 1:
                raise CannotDo(
                    f"`{step}`: a turn does exactly one thing.", document.where(("does", step, index)),
                    "Give one of say, number, silent, mumble, aside, key.",
                )  # fmt: skip


def _check_names(script: Script, flow: Flow, document: Document) -> None:
    for step in [*script.does, *script.expect.path, *script.expect.never]:
        if step not in flow.steps:
            close = difflib.get_close_matches(step, [*flow.steps], n=1)
            where = ("does", step) if step in script.does else ("expect",)
            mend = f"Did you mean `{close[0]}`?" if close else f"Name a step of {flow.flow}."
            raise CannotDo(f"the flow has no step `{step}`.", document.where(where), mend)
    for step, turns in script.does.items():
        for index, turn in enumerate(turns):
            if turn.say is not None and answer_of(turn.say, flow) is None:
                known = [*flow.answers, *(w for a in flow.answers.values() for w in a.wordings)]
                close = difflib.get_close_matches(turn.say, known, n=1)
                mend = f"Did you mean `{close[0]}`?" if close else "Say an answer of the flow."
                raise CannotDo(f"`{turn.say}` is no answer.", document.where(("does", step, index)), mend)


def answer_of(said: str, flow: Flow) -> str | None:
    """The answer that a turn's `say` stands for."""
    if said in flow.answers:
        return said
    for name, answer in flow.answers.items():
        if said.lower() in (wording.lower() for wording in answer.wordings):
            return name
    return None


def scripts() -> list[Path]:
    """The rehearsals that come with the program, in order."""
    return sorted((data_folder("shared") / "scripts").glob("*.yaml"))


def script_path(name: str) -> Path:
    """A script by name or path. Raises CannotDo for a name that is not there."""
    if Path(name).suffix or "/" in name:
        return Path(name)
    path = data_folder("shared") / "scripts" / f"{name}.yaml"
    if not path.exists():
        close = difflib.get_close_matches(name, [p.stem for p in scripts()], n=1)
        mend = f"Did you mean `{close[0]}`?" if close else "See: prompter rehearse --list"
        raise CannotDo("there is no such rehearsal.", name, mend)
    return path
