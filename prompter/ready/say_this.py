"""Makes the page that hangs beside the bed: what this caregiver says best, answer by answer.

The first part is for the caregiver, in large letters; the second, for the clinician, has the figures.
It changes nothing: every wording of the flow goes on working.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from prompter.care.card import CAUTIONS
from prompter.hear.tuning import WordingFound
from prompter.ready.own_words import AnswerFound


@dataclass(frozen=True, slots=True)
class Made:
    """For whose page, of which day, flow and ears."""

    voice: str
    patient: str
    on: date
    flow: str
    ears: str


@dataclass(frozen=True, slots=True)
class Line:
    """One answer as it is printed. `say`: in large letters; `note`: how well it is heard; `taught`:
    the taught wording where another is better."""

    say: str
    taught: str
    note: str
    key: str | None
    avoid: tuple[str, ...]
    weak: bool


Part = tuple[str, Sequence[AnswerFound]]
"""An occasion's title and its answers."""


def page(parts: Sequence[Part], made: Made) -> str:
    """The page as self-contained HTML, for A4 paper."""
    return (
        _environment()
        .get_template("say_this.html")
        .render(
            made=made,
            day=f"{made.on.day} {made.on:%B %Y}",
            parts=[(title, [line(answer) for answer in answers]) for title, answers in parts],
            figures=[row for _, answers in parts for answer in answers for row in figures(answer)],
            cautions=CAUTIONS,
        )
    )


def line(answer: AnswerFound) -> Line:
    """What the page says of one answer."""
    taught, key = answer.saying.wordings[0], answer.saying.key
    if not answer.wordings:
        return Line(taught, "", "not tried yet", key, (), weak=True)
    advice = answer.advice
    if advice.say is None:
        note = "not understood yet: show it to the clinician"
        return Line(taught, "", note, key, advice.avoid, weak=True)
    say = advice.say.wording
    instead = "" if say == taught else taught
    if advice.say.grade == "doubtful":
        note = "at times it asks back: say it again"
        return Line(say, instead, note, key, advice.avoid, weak=True)
    once = "" if len(advice.say.takes) > 1 else " (tried once)"
    return Line(say, instead, f"heard well{once}", key, advice.avoid, weak=False)


def figures(answer: AnswerFound) -> list[dict[str, str]]:
    """A row for each wording recorded, for the clinician."""
    return [_figures(answer.saying.answer, found) for found in answer.wordings]


def _figures(answer: str, found: WordingFound) -> dict[str, str]:
    worst = found.worst
    nearest = worst.heard if worst.for_answer != answer and worst.heard else worst.nearest
    return {
        "answer": answer,
        "wording": found.wording,
        "believed": f"{found.count('believed')} of {len(found.takes)}",
        "asked_again": str(found.count("asked again") + found.count("not heard") or ""),
        "taken": str(found.count("taken for another") or ""),
        "score": "" if worst.score is None else f"{worst.score:+.1f}",
        "margin": "" if worst.margin is None else f"{worst.margin:+.1f}",
        "nearest": nearest or "",
        "why": worst.why,
    }


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("prompter.ready", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
