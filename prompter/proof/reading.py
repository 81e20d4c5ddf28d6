"""How hard a text is to read: the Flesch-Kincaid grade (Kincaid et al. 1975, Navy research branch report 8-75).

Syllables are counted by spelling; the tests hold the count against the CMU dictionary.
"""

import re

_WORD = re.compile(r"[A-Za-z']+")
_VOWELS = re.compile(r"[aeiouy]+")
_SILENT = re.compile(r"(?<![aeiouy])(?<![^aeiouy][lr])e$|(?<![aeiouytd])ed$|(?<![aeiouysxzcg])(?<![cs]h)(?<![^aeiouy][lr])es$|e(?:ment|ly|ful|less|ness)s?$")
"""An e that is not spoken: note, blocked, notes, movement; but not table, metre, wanted, pushes."""
_DOUBLE = re.compile(r"ia|io(?!n)|eo|[iu]us|(?<=[aeiouy])ing$")
"""Two vowels side by side that are spoken apart."""
_SPECIAL = {"the": 1, "people": 2, "someone": 2, "somebody": 3, "alone": 2, "area": 3, "being": 2, "doing": 2, "going": 2, "fluid": 2, "saline": 2, "oxygen": 3, "quiet": 2, "sometimes": 2}  # fmt: skip


def grade(text: str) -> float:
    """0.39 x words / sentences + 11.8 x syllables / words - 15.59. A number counts as one short word."""
    plain = re.sub(r"\d+", "five", text)
    words = _WORD.findall(plain)
    sentences = max(1, len(re.findall(r"[.?!](?=\s|$)", plain)))
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59 if words else 0.0


def syllables(word: str) -> int:
    """Of one word; one at least."""
    low = word.lower().removesuffix("'s").replace("'", "")
    if low in _SPECIAL:
        return _SPECIAL[low]
    return max(1, len(_VOWELS.findall(low)) - bool(_SILENT.search(low)) + len(_DOUBLE.findall(low)))
