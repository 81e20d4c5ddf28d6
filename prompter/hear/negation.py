"""A 'not' is short and soft: what becomes of a wording when one is lost or added.

As people would say it ("the tube isn't in"): such forms compete with the wordings themselves.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from prompter.hear.shortlist import likeness, plain_words

_NEGATION = r"\b(?:not|no|never|nope|nothing|cannot|\w+n't)\b"
_BARE = frozenset({"not", "no", "never", "nope"})
_CONTRACTED = {"won't": "will", "can't": "can", "cannot": "can"}
"""What stands without the 'not'; other forms in n't just lose it."""
_NEGATIVE = {"is": "isn't", "are": "aren't", "was": "wasn't", "has": "hasn't", "have": "haven't",
             "will": "won't", "can": "can't"}  # fmt: skip
_SHORT_VERBS = {"'s": ("is", "'s not"), "'re": ("are", "'re not"), "'m": ("am", "'m not")}
_BASE_OF_PAST = {
    "came": "come", "popped": "pop", "fell": "fall", "pulled": "pull", "slid": "slide", "went": "go",
    "got": "get", "stopped": "stop", "turned": "turn", "threw": "throw", "took": "take",
}  # fmt: skip
_BASE_OF_PRESENT = {"looks": "look", "stops": "stop", "needs": "need"}
_SUBJECTS = {"chest": "isn't", "neck": "isn't", "vent": "isn't", "tube": "isn't", "eyes": "aren't"}
_BEGINS_A_SENTENCE = re.compile(r"(?:it|she|he|they|we|i|the|there|that|this|new|yes)\b|\w+'(?:s|re|m)\b")

Change = Literal["lost", "added", "answered no"]


@dataclass(frozen=True, slots=True)
class Changed:
    """`text`: a wording with its denial lost, with one added, or said after the answer 'no'."""

    text: str
    change: Change


def changed(wording: str) -> tuple[Changed, ...]:
    """Every form of `wording` with one denial fewer or one more, each once."""
    if negated(wording):
        return tuple(Changed(text, "lost") for text in dict.fromkeys(_without(wording)))
    added = dict.fromkeys(_with(wording))
    return (*(Changed(text, "added") for text in added), Changed(f"no {plain_words(wording)}", "answered no"))


def _without(wording: str) -> Iterator[str]:
    words = plain_words(wording).split()
    for at, word in enumerate(words):
        before, after = words[:at], words[at + 1 :]
        if word in _BARE:
            yield " ".join([*before, *after])
        elif word == "nothing" and after:  # 'limp, nothing' denies nothing
            yield " ".join([*before, *after])
            yield " ".join([*before, "something", *after])
        elif word in _CONTRACTED or word.endswith("n't"):
            yield " ".join([*before, _CONTRACTED.get(word, word.removesuffix("n't")), *after])
            yield " ".join([*before, *after])


def _with(wording: str) -> Iterator[str]:
    plain = plain_words(wording)
    words = plain.split()
    if not _BEGINS_A_SENTENCE.match(plain):
        yield f"not {plain}"
    for at, word in enumerate(words):
        before, after = words[:at], words[at + 1 :]
        if word in _NEGATIVE and after:
            yield " ".join([*before, word, "not", *after])
            yield " ".join([*before, _NEGATIVE[word], *after])
        if word in _BASE_OF_PAST:
            yield " ".join([*before, "didn't", _BASE_OF_PAST[word], *after])
        if word in _BASE_OF_PRESENT:
            yield " ".join([*before, "doesn't", _BASE_OF_PRESENT[word], *after])
        for short, (verb, denied) in _SHORT_VERBS.items():
            if after and word.endswith(short):
                subject = word.removesuffix(short)
                yield " ".join([*before, subject + denied, *after])
                if verb in _NEGATIVE:
                    yield " ".join([*before, subject, _NEGATIVE[verb], *after])
    if len(words) == 2 and words[0] in _SUBJECTS:
        yield f"{words[0]} not {words[1]}"
        yield f"{words[0]} {_SUBJECTS[words[0]]} {words[1]}"
    if re.fullmatch(r"\w+ing( \w+)?", plain):
        yield f"isn't {plain}"


@lru_cache(maxsize=4096)
def denials(wording: str) -> tuple[str, ...]:
    """'not going up' and the like for 'going up', 'rise' for 'no rise': never the same answer."""
    return tuple(form.text for form in changed(wording) if form.change != "answered no")


def negated(text: str) -> bool:
    """Whether the words contain a 'not' of any form."""
    return bool(re.search(_NEGATION, plain_words(text)))


def negation_lost(text: str, wording: str) -> bool:
    """Whether the free decode denies what the wording says, or says what the wording denies.

    A decode without a 'not' speaks against 'no rise' only if it sounds like 'rise': a small model
    garbles short words.
    """
    if negated(text) == negated(wording):
        return False
    if negated(text):
        return True
    positive = re.sub(_NEGATION, "", plain_words(wording)).strip()
    return likeness(text, positive) > max(0.7, likeness(text, wording))
