"""Believe or not: the one place where what the ears made of an utterance becomes an answer."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from prompter import limits
from prompter.events import Phrase
from prompter.hear import thresholds
from prompter.hear.ear import Besides, Ranking
from prompter.hear.negation import denials, negated, negation_lost
from prompter.hear.numbers import Reading, reading_in
from prompter.hear.shortlist import plain_words

_ASKS = frozenset("is are was were do does did have has can could will would should".split())

Scored = Sequence[tuple[Phrase, float]]
"""Wordings with their scores, best first."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """The decision over one utterance, with what it rests on.

    `score`: log-odds that it is right. `margin`: the best wording's score less that of the best of
    another answer or decoy. `lead`: of a number, its evidence less that of the best other number.
    `why`: why not.
    """

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
    lead: float | None = None


def decide(rankings: Sequence[Ranking], stricter: float = 0.0) -> Verdict:
    """One verdict from the rankings of one or two ears; `stricter`: added to what belief needs.

    An ear with a window scores; another only names a phrase, and its word alone is never taken.
    """
    names = tuple(name for r in rankings for name in r.names)
    scored = next((r for r in rankings if r.window), None)
    if scored is None or not (scored.ranked or scored.readings):
        return Verdict(ears=names, why="nothing scored")
    best_evidence = max((_mean_evidence(scored, text) for text in scored.evidence), default=None)
    if scored.readings and (best_evidence is None or scored.readings[0][1] > best_evidence):
        return _decide_reading(scored, best_evidence, names, stricter)
    answers = [pair for pair in scored.ranked if pair[0].answer]
    if not answers:
        return Verdict(ears=names, text=scored.text, window=scored.window, why="no answer")
    best, own = _worse_of_two(_likeliest_first(answers), scored.text)
    rival = next((pair for pair in scored.ranked if pair[0].answer != best.answer), None)
    margin = own - rival[1] if rival else None
    score = log_odds(best.answer, scored.ranked)
    asked = [r for r in rankings if r is not scored and best.text not in r.unable]
    others = [r.ranked[0][0].answer if r.ranked else "" for r in asked]
    others += _written_in_full(scored)
    why = _doubt(best, score, margin, scored, others, stricter)
    return Verdict(
        heard=best,
        believed=not why,
        score=score,
        margin=margin,
        runner_up=rival[0].text if rival else None,
        text=scored.text,
        window=scored.window,
        ears=names,
        why=why,
    )


def _written_in_full(scored: Ranking) -> list[str]:
    """Answers that are all of what one of two models wrote down: of a clear "it's bleeding" in crying at
    5 dB one model wrote just that and the other nothing like it, and "it slid out" came out ahead."""
    if scored.besides is None:
        return []
    written = {plain_words(text) for text in scored.texts}
    return [phrase.answer for phrase, _ in scored.ranked if phrase.answer and plain_words(phrase.text) in written]


def in_doubt(verdict: Verdict) -> bool:
    """Whether a closer look may change it: neither sure nor hopeless. Numbers have had theirs."""
    if verdict.score is None or verdict.number is not None:
        return False
    return limits.HOPELESS <= verdict.score < limits.SURE_AT_ONCE


def log_odds(answer: str, ranked: Scored) -> float:
    """That `answer` was said, in any of its wordings, and not another, a decoy or nothing known."""
    own = _log_sum([score for phrase, score in ranked if phrase.answer == answer])
    return own - _log_sum([0.0, *(score for phrase, score in ranked if phrase.answer != answer)])


def _log_sum(scores: Sequence[float]) -> float:
    most = max(scores)
    return most + math.log(sum(math.exp(score - most) for score in scores))


def _likeliest_first(answers: Scored) -> list[tuple[Phrase, float]]:
    """The best wording of each answer, by the log-odds of the answer with all its wordings."""
    best = {}
    for phrase, score in answers:
        best.setdefault(phrase.answer, (phrase, score))
    return sorted(best.values(), key=lambda pair: -log_odds(pair[0].answer, answers))


def _worse_of_two(allowed: Scored, text: str) -> tuple[Phrase, float]:
    """The best; but if good news and another answer are both in the words, the other one."""
    best = allowed[0]
    if best[0].risk == "good":
        for pair in allowed[1:]:
            if pair[0].risk == "branch" and _both_said(text, best[0], pair[0]):
                return pair
    return best


def _both_said(text: str, one: Phrase, other: Phrase) -> bool:
    """Whether two answers' wordings stand in the words, neither as a part of the other."""
    if one.answer == other.answer or stands_in(one.text, other.text):
        return False
    return stands_in(text, one.text) and stands_in(text, other.text)


def stands_in(text: str, wording: str) -> bool:
    """Whether the words of `wording` stand in `text`, one after the other."""
    return f" {plain_words(wording)} " in f" {plain_words(text)} "


def is_question(text: str, wording: str) -> bool:
    """Whether the words ask for what `wording` says: 'are you on the line' for 'on the line'."""
    first, _, rest = plain_words(text).partition(" ")
    return first in _ASKS and not plain_words(wording).startswith(f"{first} ") and stands_in(rest, wording)


def _doubt(
    best: Phrase, score: float, margin: float | None, scored: Ranking, others: Sequence[str], stricter: float
) -> str:
    """Why the best phrase is not believed; empty if it is."""
    if margin is not None and margin <= 0:
        return "sounds more like something else"
    extra = stricter + (thresholds.LONG_WINDOW_EXTRA if scored.window > limits.WINDOW_FRAMES else 0.0)
    if score < thresholds.LEAST[best.risk] + extra:
        return "not sure enough"
    surely_denied = negated(best.text) and score >= thresholds.NEGATION_SURE
    if all(negation_lost(text, best.text) for text in scored.texts) and not surely_denied:
        return "a 'not' too many or too few"
    if _may_be_denied(best, scored):
        return "may be denied"
    if any(is_question(text, best.text) for text in scored.texts):
        return "asked, not said"
    if any(_both_said(scored.text, best, p) for p, _ in scored.ranked if p.answer):
        return "two answers at once"
    if any(o != best.answer for o in others) and score < thresholds.STRICT[best.risk] + extra:
        return "the ears disagree"
    return ""


def _may_be_denied(best: Phrase, scored: Ranking) -> bool:
    """Whether the sound fits 'not going up' as well as 'going up', whoever heard it: what weighs
    against decoys as such, that they are seldom said, must not hide a denial."""
    return all(_fits_a_denial(best, evidence) for evidence in scored.evidences)


def _fits_a_denial(best: Phrase, evidence: Mapping[str, float]) -> bool:
    own = evidence.get(best.text)
    if own is None:
        return False
    others = [evidence[text] for text in denials(best.text) if text in evidence]
    return max(others, default=-math.inf) > own - thresholds.DENIAL_MARGIN


def may_ask_back(
    heard: Phrase, score: float | None, margin: float | None, text: str
) -> bool:
    """Whether what is not believed is near enough to be asked back by name, and not denied by the
    words: the same again is taken as yes, and who says "the tube isn't in" says it twice."""
    near = score is not None and score >= limits.ASK_BACK_SCORE
    ahead = margin is None or margin >= limits.ASK_BACK_MARGIN
    return near and ahead and not negation_lost(text, heard.text)


def may_read_back(score: float | None, lead: float | None) -> bool:
    """Whether a number that is not believed may be suggested: who hears "75? Once more." and says 95
    again may be heard as before."""
    likely = score is not None and score >= thresholds.NUMBER_READ_BACK[0]
    return likely and lead is not None and lead >= thresholds.NUMBER_READ_BACK[1]


def _decide_reading(
    scored: Ranking, best_evidence: float | None, names: tuple[str, ...], stricter: float
) -> Verdict:
    """A number was said: believed when it scores well and cannot be taken for another.

    Less is enough where the free decode says the same. `best_evidence`: of any wording.
    """
    reading, evidence = scored.readings[0]
    told = scored.decoded is not None and scored.decoded.value == reading.value
    margin = None if best_evidence is None else evidence - best_evidence
    score = _number_log_odds(evidence, margin)
    others = scored.readings[1:]
    rivals = [(r.wording, score) for r, score in others]
    rivals += [(text, _mean_evidence(scored, text)) for text in scored.evidence]
    nearest = max(rivals, key=lambda pair: pair[1], default=None)
    why = ""
    if not reading.in_range:
        why = "number out of range"
    elif _written_otherwise(reading, scored.besides):
        why = "could be another number"
    elif score < stricter + thresholds.NUMBER_LEAST[0 if told else 1]:
        why = "not sure enough"
    elif not told and any(other.in_range for other in reading.mistakable()):
        why = "could be another number"  # a search compares it with its tens alone
    elif any(evidence - other < _lead(reading, rival, told) for rival, other in others):
        why = "could be another number"
    return Verdict(
        believed=not why,
        score=score,
        margin=margin,
        runner_up=nearest[0] if nearest else None,
        number=(reading.quantity, reading.value),
        text=scored.text,
        window=scored.window,
        ears=names,
        why=why,
        lead=evidence - max((e for r, e in others if r.value != reading.value), default=-math.inf),
    )


def _mean_evidence(scored: Ranking, wording: str) -> float:
    """By all that made the ranking, as a reading's is."""
    found = [evidence[wording] for evidence in scored.evidences if wording in evidence]
    return sum(found) / len(found)


def _written_otherwise(reading: Reading, besides: Besides | None) -> bool:
    """Whether the second model wrote another number down: of a clear '86 percent' 66 was surest to the
    first, and the second wrote 'Eighty six percent'."""
    other = reading_in(besides.text, reading.quantity) if besides else None
    return other is not None and other.in_range and other.value != reading.value


def _number_log_odds(evidence: float, margin: float | None) -> float:
    """That it is a number at all."""
    wide = thresholds.NUMBER_MARGIN_MAX
    parts = (1.0, evidence, wide if margin is None else min(margin, wide))
    return sum(w * part for w, part in zip(thresholds.NUMBER_WEIGHTS, parts, strict=True))


def _lead(reading: Reading, rival: Reading, told: bool) -> float:
    """Evidence by which a number must lead this other one; `told`: the free decode says it too."""
    teen_or_ten = rival in reading.mistakable()
    if told:
        return thresholds.NUMBER_MARGIN_UNTOLD if teen_or_ten else thresholds.NUMBER_MARGIN
    return math.inf if teen_or_ten else thresholds.NUMBER_MARGIN_UNTOLD
