"""Believe or not: the one place where what the ears made of an utterance becomes an answer."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.numbers import number_in
from prompter.hear.shortlist import likeness, plain_words
from prompter.hear.thresholds import Thresholds, thresholds_for

_NEGATIONS = re.compile(r"\b(not|no|non|never|nothing|isn't|\w+n't|cannot|nope)\b")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The decision over one utterance, with what it rests on."""

    heard: Phrase | None = None
    believed: bool = False
    score: float | None = None
    margin: float | None = None
    runner_up: str | None = None
    number: tuple[str, int] | None = None
    text: str = ""
    window: int = 0
    ears: tuple[str, ...] = ()
    why: str = ""


def negated(text: str) -> bool:
    """Whether the words contain a 'not' of any form."""
    return bool(_NEGATIONS.search(plain_words(text)))


def decide(rankings: Sequence[Ranking], seconds: float) -> Verdict:
    """One verdict from one or two ears' rankings of `seconds` of sound."""
    names = tuple(r.ear for r in rankings)
    scored = next((r for r in rankings if r.window and r.ranked), None)
    if scored is None:
        return Verdict(ears=names, why="nothing scored")
    best, score = scored.ranked[0]
    rival = next((pair for pair in scored.ranked if pair[0].answer != best.answer), None)
    margin = score - rival[1] if rival else None
    limit = thresholds_for(scored.window, best.risk)
    others = [r.ranked[0][0].answer if r.ranked else "" for r in rankings if r is not scored]
    why = _doubt(best, score, margin, scored.text, limit, others)
    return Verdict(
        heard=best,
        believed=not why,
        score=score,
        margin=margin,
        runner_up=rival[0].text if rival else None,
        number=number_in(scored.text),
        text=scored.text,
        window=scored.window,
        ears=names,
        why=why,
    )


def _doubt(
    best: Phrase,
    score: float,
    margin: float | None,
    text: str,
    limit: Thresholds,
    others: Sequence[str],
) -> str:
    """Why the best phrase is not believed; empty if it is."""
    if score < limit.score:
        return "score"
    if margin is not None and margin < limit.margin:
        return "margin"
    if negated(text) != negated(best.text) and likeness(text, best.text) > 0.5:
        return "negation"
    if others and any(other != best.answer for other in others) and score < limit.strict:
        return "the ears disagree"
    return ""
