"""Wordings of opposite answers that may be said at one step: how near they come to each other."""

from collections.abc import Iterator
from dataclasses import dataclass

from prompter import limits
from prompter.events import Phrase
from prompter.flow.document import Flow
from prompter.hear.negation import Change, changed
from prompter.wordings.allowed import allowed_at, places
from prompter.wordings.distance import Distances


@dataclass(frozen=True, slots=True)
class Pair:
    """Two wordings of opposite answers and their distance. `change`: `said` is not `one` itself
    but what is left of it with a denial lost, or what it becomes with one added."""

    one: Phrase
    other: Phrase
    distance: float
    said: str
    change: Change | None = None


def opposite_answers(flow: Flow) -> set[frozenset[str]]:
    """Every pair, whichever side the flow names it on."""
    return {frozenset((one, other)) for one, others in flow.opposites.items() for other in others}


def opposite_phrases(flow: Flow) -> Iterator[tuple[Phrase, Phrase]]:
    """Every two wordings of opposite answers that are listened for at the same time somewhere, each
    pair both ways round."""
    wanted, seen = opposite_answers(flow), set()
    for step, interrupted in places(flow):
        here = {phrase.answer: phrase for phrase in allowed_at(flow, step, interrupted)}
        seen |= {pair for pair in wanted if pair <= here.keys()}
    for one, other in sorted(sorted(pair) for pair in seen):
        for first, second in ((one, other), (other, one)):
            yield from ((a, b) for a in _phrases(flow, first) for b in _phrases(flow, second))


def _phrases(flow: Flow, answer: str) -> list[Phrase]:
    body = flow.answers[answer]
    return [Phrase(wording, answer, body.risk) for wording in body.wordings]


def near_opposites(flow: Flow) -> list[Pair]:
    """Each two wordings of opposite answers once, nearest first."""
    pairs = [(a, b) for a, b in opposite_phrases(flow) if a.answer < b.answer]
    sounds = Distances(p.text for pair in pairs for p in pair)
    found = [Pair(a, b, sounds.between(a.text, b.text), a.text) for a, b in pairs]
    return sorted(found, key=lambda pair: pair.distance)


def near_when_denied(flow: Flow) -> list[Pair]:
    """The same with a denial of the first wording lost or added, nearest first."""
    pairs = [(c, a, b) for a, b in opposite_phrases(flow) for c in changed(a.text)]
    sounds = Distances(text for c, _, b in pairs for text in (c.text, b.text))
    found = [
        Pair(a, b, sounds.between(c.text, b.text), c.text, c.change) for c, a, b in pairs
    ]
    return sorted(found, key=lambda pair: pair.distance)


def too_near(flow: Flow) -> list[Pair]:
    """Pairs under their least distance: wordings as they are or with a 'not' lost, nearest first;
    then those that an added 'not' brings near."""
    denied = near_when_denied(flow)
    lost = [*near_opposites(flow), *(pair for pair in denied if pair.change == "lost")]
    near = [pair for pair in lost if pair.distance < limits.OPPOSITE_DISTANCE]
    added = (pair for pair in denied if pair.change == "added")
    return [*near, *(pair for pair in added if pair.distance < limits.DENIED_DISTANCE)]
