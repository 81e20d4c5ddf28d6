"""Lists what a caregiver may have to say, grouped by what it answers, and at which steps to try it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from prompter import limits
from prompter.events import Phrase
from prompter.flow.table import BUILT_IN, Stand, Table
from prompter.hear.shortlist import likeness

ACTIONS = "When you have done what the voice asked"
TROUBLE = "Trouble: say it at any time"
OTHERS = "Phone, people and the voice itself: say it at any time"

_ACTIONS_MIN = 3
"""An answer to more different prompts than this belongs to none of them."""


@dataclass(frozen=True, slots=True)
class Saying:
    """An answer with its wordings, the taught one first. `means`: how the prompter repeats it;
    `key`: what can be pressed instead, at any time."""

    answer: str
    means: str
    wordings: tuple[str, ...]
    key: str | None


@dataclass(frozen=True, slots=True)
class Occasion:
    """What is said on one occasion: after a question or prompt, or at any time."""

    title: str
    sayings: tuple[Saying, ...]


def occasions(table: Table) -> list[Occasion]:
    """Every answer that can be given under this plan, each once, in the order of the flow."""
    everywhere = [*table.flow.everywhere, *BUILT_IN]
    own = dict.fromkeys(a for stand in table.stands.values() for a in stand.own_answers)
    homes = {a: _home(table, a) for a in own if a in table.flow.answers and a not in everywhere}
    found: dict[str, list[Saying]] = {}
    for stand in table.stands.values():
        for answer, home in homes.items():
            if home is stand:
                title = ACTIONS if _goes_on(table, answer) else _title(stand)
                found.setdefault(title, []).append(_saying(table, answer))
    for answer in everywhere:
        if (body := table.flow.answers.get(answer)) is not None:
            title = TROUBLE if body.news == "bad" else OTHERS
            found.setdefault(title, []).append(_saying(table, answer))
    return [Occasion(title, tuple(sayings)) for title, sayings in found.items()]


def steps_to_try(table: Table) -> Callable[[str, str], list[tuple[str, Sequence[Phrase]]]]:
    """A function of (answer, wording): the steps at which it is allowed, with all that is allowed
    there; the most usual one first, then those with the wordings that sound most like it."""
    like: dict[tuple[str, str], float] = {}

    def rival(stand: str, answer: str, wording: str) -> float:
        most = 0.0
        for phrase in table.phrases(stand):
            if phrase.answer != answer:
                pair = (wording, phrase.text)
                if pair not in like:
                    like[pair] = likeness(*pair)
                most = max(most, like[pair])
        return most

    def steps(answer: str, wording: str) -> list[tuple[str, Sequence[Phrase]]]:
        own = [name for name, stand in table.stands.items() if answer in stand.own_answers]
        home = [_home(table, answer).name] if own else []
        places = own or [name for name, stand in table.stands.items() if not stand.final]
        ranked = sorted(places, key=lambda name: -rival(name, answer, wording))
        chosen: dict[tuple[Phrase, ...], str] = {}
        for name in [*home, *ranked]:
            chosen.setdefault(table.phrases(name), name)
        return [(name, allowed) for allowed, name in chosen.items()][: limits.TUNED_STEPS]

    return steps


def _home(table: Table, answer: str) -> Stand:
    """Where an answer belongs: among the steps that it answers, one that asks, and asks little else."""
    places = [s for s in table.stands.values() if answer in s.own_answers]
    return min(places, key=lambda s: (s.outcome is not None, not s.ask, s.own_answers.index(answer)))


def _goes_on(table: Table, answer: str) -> bool:
    """Whether it only says that an action is done, whatever the action."""
    prompts = {s.say[-1].text for s in table.stands.values() if answer in s.own_answers and s.say}
    return table.flow.answers[answer].risk == "plain" and len(prompts) > _ACTIONS_MIN


def _title(stand: Stand) -> str:
    spoken = stand.ask[:1] or stand.say[-1:]
    return f"“{spoken[0].text}”" if spoken else stand.title


def _saying(table: Table, answer: str) -> Saying:
    body = table.flow.answers[answer]
    return Saying(answer, body.words, tuple(body.wordings), body.key)
