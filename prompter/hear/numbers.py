"""Hears readings: oxygen saturation in percent and heart rate a minute, in words or digits."""

import re
from dataclasses import dataclass
from typing import Literal

from prompter import limits

Quantity = Literal["spo2", "pulse"]

_ONES = dict(zip("zero one two three four five six seven eight nine".split(), range(10)))
_ONES |= {"oh": 0, "o": 0}
_TEENS = dict(
    zip(
        "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split(),
        range(10, 20),
    )
)
_TENS = dict(
    zip("twenty thirty forty fifty sixty seventy eighty ninety".split(), range(20, 100, 10))
)
_HEADS: tuple[tuple[str, Quantity], ...] = (
    (r"heart ?rate|heart|pulse|bpm", "pulse"),
    (r"oxygen|saturation|sats?|spo2|o2", "spo2"),
)
_TAILS: tuple[tuple[str, Quantity], ...] = (
    (r"percent|%", "spo2"),
    (r"a minute|per minute|beats|bpm", "pulse"),
)
_FILLER = r"(?:is|are|at|of|it's|its|now|about|level|number|rate|reads|the|a)"
_RANGES: dict[Quantity, tuple[int, int]] = {
    "spo2": limits.SPO2_RANGE_PERCENT,
    "pulse": limits.PULSE_RANGE_PER_MINUTE,
}
_SEARCHED: dict[Quantity, range] = {"spo2": range(50, 101, 10), "pulse": range(40, 211, 10)}
_DIGITS = "zero one two three four five six seven eight nine".split()
_TEEN_OR_TEN = [(10 + n, 10 * n) for n in range(3, 10)]  # thirteen or thirty, and so on


@dataclass(frozen=True, slots=True)
class Reading:
    """A number that was said. `head`: the words before it ('oxygen'), for scoring it back."""

    quantity: Quantity
    value: int
    head: str = ""
    tail: str = ""

    @property
    def in_range(self) -> bool:
        """Whether a living patient and a working meter can give this value."""
        low, high = _RANGES[self.quantity]
        return low <= self.value <= high

    @property
    def wording(self) -> str:
        """As it is written."""
        return f"{self.head} {self.value}{self.tail}".strip()

    @property
    def spoken(self) -> tuple[str, ...]:
        """As people say it: 'oxygen ninety-six', 'oxygen nine six'.

        A recogniser tells numbers apart better by these than by figures, where one token holds
        the whole value (tests/bench/bench_numbers.py).
        """
        ways = [_in_words(self.value)]
        if self.head and self.value < 100:
            ways.append(" ".join(_DIGITS[int(digit)] for digit in str(self.value)))
        tail = " percent" if self.tail == "%" else self.tail
        return tuple(f"{self.head} {way}{tail}".strip() for way in ways)

    @property
    def plainest(self) -> "Reading":
        """The one that stands for all values said this way, where it only matters that it is one."""
        return Reading(self.quantity, 90, self.head, self.tail)

    def mistakable(self) -> list["Reading"]:
        """What it could be taken for: 'fourteen' for 'forty', with or without hundreds."""
        hundreds, rest = divmod(self.value, 100)
        found = []
        for teen, ten in _TEEN_OR_TEN:
            if rest in (teen, ten):
                other = hundreds * 100 + (ten if rest == teen else teen)
                found.append(Reading(self.quantity, other, self.head, self.tail))
        return found


    def rivals(self) -> list["Reading"]:
        """What a believed number must lead clearly: the same tens, the same ones, a teen for a ten."""
        if self.value < 20:
            near: list[Reading] = []
        else:
            hundreds, rest = divmod(self.value, 100)
            ones = [hundreds * 100 + tens + rest % 10 for tens in range(20, 100, 10)]
            near = [Reading(self.quantity, value, self.head, self.tail) for value in ones]
        found = [*around(self), *near, *self.mistakable()]
        return [r for r in dict.fromkeys(found) if r.in_range and r.value != self.value]


def reading_in(text: str, asked: Quantity | None = None) -> Reading | None:
    """The reading that `text` (a free decode) says, or None.

    It must be the whole utterance. A bare number counts only if `asked` says which was asked for.
    """
    words = _said_once(text)
    for pattern, quantity in _HEADS:
        if found := re.fullmatch(rf"(?:{_FILLER} )*({pattern}) (?:{_FILLER} )*(.+)", words):
            head, rest = found.groups()
            rest, tail_quantity = _without_tail(rest)
            value = _value(rest)
            if value is None or tail_quantity not in (None, quantity):
                return None
            return Reading(quantity, value, head)
    rest, quantity = _without_tail(words)
    quantity = quantity or asked
    value = _value(rest)
    if quantity is None or value is None:
        return None
    return Reading(quantity, value, "", "%" if quantity == "spo2" and rest != words else "")


def oddly_written(text: str) -> bool:
    """'60% percent': what was garbled may have been the ones, so it is no word for this number."""
    return bool(re.search(r"(?:%|percent) ?(?:%|percent)", _plain(text)))


def guesses(text: str, asks_number: bool = False) -> list["Reading"]:
    """Readings to try where `text` (a free decode) names a quantity, or a number, but not both well.

    'Oxygen antifim': the tens of a saturation; 'or the 93rd': that saturation. Where a saturation
    was asked for, that saturation in every way of saying it; 'that is 3%' and anything else: its tens.
    """
    words = _plain(text)
    numbers = [int(n) for n in re.findall(r"\d{2,3}", words)]
    for pattern, quantity in _HEADS:
        if found := re.match(rf"({pattern})\b", words):
            values = numbers or list(_SEARCHED[quantity])
            return [Reading(quantity, value, found.group(1)) for value in values]
    named = [n for n in numbers if n in range(50, 101)]
    if not asks_number:
        return [Reading("spo2", n, "oxygen") for n in named]
    said = (("", "%"), ("oxygen", ""), ("sats", ""), ("", ""))
    return [Reading("spo2", n, head, tail) for head, tail in said for n in named or _SEARCHED["spo2"]]


def around(reading: Reading) -> list["Reading"]:
    """The ten readings with the same tens."""
    first = reading.value // 10 * 10
    values = range(first, first + 10) if reading.value < 100 or reading.quantity == "pulse" else [100]
    return [Reading(reading.quantity, value, reading.head, reading.tail) for value in values]


def _said_once(text: str) -> str:
    """Its words; without the beginning of a second time, which a small model adds now and then."""
    text = re.sub(r"(?<=\d)\.(?=\d)", "", text)  # '1.06' is how one oh six is written down
    sentences = [_plain(part) for part in re.split(r"[.!?]", text)]
    first, rest = sentences[0], " ".join(filter(None, sentences[1:]))
    return first if rest and first.startswith(rest) else _plain(text)


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9%' ]+", " ", text.lower().replace("-", " ")).split())


def _without_tail(words: str) -> tuple[str, Quantity | None]:
    """A small model writes '95 percent' down as '95% percent' now and then."""
    for pattern, quantity in _TAILS:
        if found := re.fullmatch(rf"(.+?)(?: ?(?:{pattern})){{1,2}}", words):
            return found.group(1), quantity
    return words, None


def _value(words: str) -> int | None:
    """'eighty eight', '88', 'one forty', 'a hundred and five', 'one oh five', 'eight eight'."""
    parts = [w for w in words.split() if w not in ("and", "a")]
    if not parts or len(parts) > 4:
        return None
    if "hundred" in parts:
        at = parts.index("hundred")
        if at > 1 or (at == 1 and parts[0] not in ("one", "two", "1", "2")):
            return None
        hundreds = 100 * (_small(parts[0]) or 0) if at == 1 else 100
        rest = parts[at + 1 :]
        if not rest:
            return hundreds
        below = _value(" ".join(rest))
        return hundreds + below if below is not None and below < 100 else None
    return _joined(parts)


def _joined(parts: list[str]) -> int | None:
    """Numbers side by side, as people say them: 1 + 40, 80 + 8, 9 + 2, 1 + 0 + 5."""
    numbers = [_small(p) for p in parts]
    if any(n is None for n in numbers):
        return None
    written = ""
    for i, number in enumerate(numbers):
        ten_before = i > 0 and numbers[i - 1] in _TENS.values() and parts[i - 1] in _TENS
        if ten_before and 0 < number < 10:
            written = written[:-1] + str(number)
        else:
            written += str(number)
    return int(written) if len(written) <= 3 else None


def _small(word: str) -> int | None:
    if word.isdigit():
        return int(word) if len(word) <= 3 else None
    return next((table[word] for table in (_ONES, _TEENS, _TENS) if word in table), None)


def _in_words(value: int) -> str:
    """'ninety-six', 'one hundred', 'one forty', 'one oh five'."""
    hundreds, rest = divmod(value, 100)
    if hundreds:
        if not rest:
            return f"{_DIGITS[hundreds]} hundred"
        return f"{_DIGITS[hundreds]} {f'oh {_DIGITS[rest]}' if rest < 10 else _in_words(rest)}"
    if value < 10:
        return _DIGITS[value]
    if value < 20:
        return next(word for word, n in _TEENS.items() if n == value)
    ten = next(word for word, n in _TENS.items() if n == value - value % 10)
    return f"{ten}-{_DIGITS[value % 10]}" if value % 10 else ten
