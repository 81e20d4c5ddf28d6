"""How unlike two phonemes of English are, by their distinctive features.

Features and weights: PanPhon (Mortensen et al., COLING 2016, pages 3475-3484; MIT licence), version
0.22.2, data/ipa_all.csv and data/feature_weights.csv. Only the phonemes the engine uses for English
are here; `long`, `constricted glottis` and `velaric` are left out, for no two of them differ in
nothing else. (The package itself brings a data-frame library along for these fifty lines.)
"""

import unicodedata
from functools import lru_cache

FEATURES: dict[str, float] = {
    "syllabic": 1, "sonorant": 1, "consonantal": 1, "continuant": 0.5, "delayed release": 0.25,
    "lateral": 0.25, "nasal": 0.25, "strident": 0.125, "voice": 0.125, "spread glottis": 0.125,
    "anterior": 0.25, "coronal": 0.25, "distributed": 0.125, "labial": 0.25, "high": 0.25,
    "low": 0.25, "back": 0.25, "round": 0.25, "tense": 0.25,
}  # fmt: skip
"""Name and weight, in the order of the signs below."""

_SIGNS = """
p --+-------+-0+----0
b --+-----+-+-0+----0
t --+-------++------0
d --+-----+-++------0
k --+---------0-+-+-0
ɡ --+-----+---0-+-+-0
tʃ --+-+--+---++-----0
dʒ --+-+--++--++-----0
f --++---+--+-0+----0
v --++---++-+-0+----0
θ --++------+++-----0
ð --++----+-+++-----0
s --++---+--++------0
z --++---++-++------0
ʃ --++---+---++-----0
ʒ --++---++--++-----0
h -+++--------0---+-0
m -++---+-+-+-0+----0
n -++---+-+-++------0
ŋ -++---+-+---0-+-+-0
l -+++-+--+-++------0
ɹ -+-+----+-++--+--+0
ɾ -+++0---+-++--00--0
r -+++0---+-++--00--0
w -+-+----+---0++-++0
ʍ -+-+--------0++-++0
j -+-+----+---0-+---0
i ++-+----+-0-0-+---+
ɪ ++-+----+-0-0-+----
e ++-+----+-0-0-----+
ɛ ++-+----+-0-0------
a ++-+----+-0-0--++-+
æ ++-+----+-0-0--+--+
ɑ ++-+0---+-0-0--++-+
ɒ ++-+----+-0-0--++++
ɔ ++-+----+-0-0---++-
o ++-+----+-0-0---+++
ʊ ++-+----+-0-0-+-++-
u ++-+----+-0-0++-+++
ʉ ++-+0---+-0-0++-+++
ʌ ++-+----+-0-0---+-+
ə ++-+----+-0-0---+--
ɐ ++-+----+-0-0-----+
ɜ ++-+----+-0-0---+--
"""
_TABLE: dict[str, str] = dict(line.split() for line in _SIGNS.strip().splitlines())
_VALUE = {"+": 1.0, "0": 0.0, "-": -1.0}
_ALSO = {"ɚ": "əɹ", "ᵻ": "ɪ", "ʲ": "j", "ʔ": ""}
"""Signs of the engine that PanPhon lacks, as phonemes it has."""


def segments(phoneme: str) -> list[str]:
    """The engine's phoneme as phonemes of the table: 'oʊ' is 'o' and 'ʊ'. Length and other marks
    are left out; a sign that the table lacks stands for itself."""
    found: list[str] = []
    plain = "".join(c for c in phoneme if c not in "ː:" and not unicodedata.combining(c))
    while plain:
        head = plain[:2] if plain[:2] in _TABLE else plain[:1]
        plain = plain[len(head) :]
        if head in _ALSO:
            plain = _ALSO[head] + plain
        else:
            found.append(head)
    return found


@lru_cache(maxsize=4096)
def unlikeness(one: str, other: str) -> float:
    """0 (the same) to 1 (all features opposed): the weighted share of features that differ, an
    unspecified one by half. 1 for a sign that the table lacks."""
    if one == other:
        return 0.0
    if one not in _TABLE or other not in _TABLE:
        return 1.0
    signs = zip(_TABLE[one], _TABLE[other], FEATURES.values(), strict=True)
    differing = sum(abs(_VALUE[a] - _VALUE[b]) / 2 * weight for a, b, weight in signs)
    return differing / sum(FEATURES.values())
