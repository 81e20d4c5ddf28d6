"""Picks the few wordings worth scoring: scoring all that are allowed would cost too much time."""

import re
from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from functools import lru_cache

from prompter.events import Phrase

_FOLDS = (
    ("ph", "f"), ("ght", "t"), ("gh", ""), ("ck", "k"), ("qu", "kw"), ("wh", "w"), ("kn", "n"),
    ("wr", "r"), ("tch", "C"), ("ch", "C"), ("sh", "S"), ("th", "T"), ("ee", "i"), ("ea", "i"),
    ("oo", "u"), ("ou", "u"), ("ow", "o"), ("ai", "e"), ("ay", "e"), ("ce", "se"), ("ci", "si"),
    ("c", "k"), ("x", "ks"), ("z", "s"), ("v", "f"), ("b", "p"), ("d", "t"), ("g", "k"), ("j", "C"),
)  # fmt: skip


def plain_words(text: str) -> str:
    """Lower case, letters of any script, digits and apostrophes only, single spaces."""
    return " ".join(re.sub(r"[^\w' ]+|_", " ", text.lower().replace("’", "'")).split())


@lru_cache(maxsize=4096)
def sounds_of(text: str) -> str:
    """A rough spelling by sound: what a recogniser confuses becomes equal."""
    word = plain_words(text).replace("'", "")
    for old, new in _FOLDS:
        word = word.replace(old, new)
    return re.sub(r"(.)\1+", r"\1", word)


@lru_cache(maxsize=8192)
def likeness(heard: str, wording: str) -> float:
    """0 (nothing in common) to 1 (the same), by sound, spaces left out."""
    a, b = sounds_of(heard).replace(" ", ""), sounds_of(wording).replace(" ", "")
    if not a or not b:
        return 0.0
    return SequenceMatcher(None, a, b, autojunk=False).ratio()


def likeness_of_any(heard: Sequence[str], wording: str) -> float:
    """Likeness to the nearest of several free decodes."""
    return max((likeness(text, wording) for text in heard), default=0.0)


def nearest(
    phrases: Sequence[Phrase], like: Mapping[str, float], keep: tuple[int, int]
) -> list[Phrase]:
    """The answers and the decoys most like what was heard, so many of each, best first; `like`: of
    each wording."""
    best = sorted(phrases, key=lambda p: -like[p.text])
    answers, decoys = keep
    return [*[p for p in best if p.answer][:answers], *[p for p in best if not p.answer][:decoys]]
