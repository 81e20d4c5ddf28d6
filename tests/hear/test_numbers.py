"""Readings in words and digits. The wordings are the clinical brief's; the rest is common practice."""

import pytest

from prompter.hear.numbers import Reading, around, guesses, reading_in


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("oxygen eighty eight", "spo2", 88),
        ("Oxygen 88.", "spo2", 88),
        ("sats 88", "spo2", 88),
        ("Sats are ninety-two.", "spo2", 92),
        ("eighty-eight percent", "spo2", 88),
        ("88%", "spo2", 88),
        ("oxygen level is 91 percent", "spo2", 91),
        ("saturation nine five", "spo2", 95),
        ("oxygen one hundred", "spo2", 100),
        ("oxygen a hundred percent", "spo2", 100),
        ("heart rate one forty", "pulse", 140),
        ("pulse 140", "pulse", 140),
        ("Pulse is one hundred and forty.", "pulse", 140),
        ("heart rate one oh five", "pulse", 105),
        ("pulse a hundred and five", "pulse", 105),
        ("heart rate sixty", "pulse", 60),
        ("pulse one four zero", "pulse", 140),
        ("140 beats", "pulse", 140),
        ("pulse one fourteen", "pulse", 114),
        ("Heart rate 1.06", "pulse", 106),
        ("95% percent", "spo2", 95),  # how a small model writes '95 percent' down now and then
        ("140 beats a minute", "pulse", 140),
    ],
)
def test_readings(text: str, quantity: str, value: int) -> None:
    found = reading_in(text)
    assert found is not None and (found.quantity, found.value) == (quantity, value)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "eighty eight",  # of what?
        "oxygen's on",
        "no oxygen",
        "oxygen on",
        "oxygen eighty eight and falling fast",
        "pulse one forty percent",  # one taken for the other
        "ninety percent a minute",
        "heart rate is fine",
        "chest flat",
        "oxygen eighty eight oxygen eighty nine",
        "oxygen three hundred",
        "pulse 1 2 3 4 5",
    ],
)
def test_what_is_no_reading(text: str) -> None:
    assert reading_in(text) is None


def test_a_bare_number_counts_when_it_was_asked_for() -> None:
    assert reading_in("eighty eight", asked="spo2") == Reading("spo2", 88)
    assert reading_in("140", asked="pulse") == Reading("pulse", 140)


@pytest.mark.parametrize(
    ("reading", "in_range"),
    [
        (Reading("spo2", 100), True),
        (Reading("spo2", 101), False),
        (Reading("spo2", 8), False),
        (Reading("pulse", 190), True),
        (Reading("pulse", 19), False),
        (Reading("pulse", 300), False),
    ],
)
def test_ranges(reading: Reading, in_range: bool) -> None:
    assert reading.in_range is in_range


def test_fourteen_and_forty_are_mistakable() -> None:
    assert [r.value for r in Reading("pulse", 114, "pulse").mistakable()] == [140]


@pytest.mark.parametrize(("value", "other"), [(14, 40), (90, 19), (60, 16), (118, 180), (180, 118)])
def test_teens_and_tens(value: int, other: int) -> None:
    assert other in [r.value for r in Reading("pulse", value).mistakable()]


@pytest.mark.parametrize(
    ("reading", "spoken"),
    [
        (Reading("spo2", 96, "oxygen"), ("oxygen ninety-six", "oxygen nine six")),
        (Reading("spo2", 90, "", "%"), ("ninety percent",)),
        (Reading("spo2", 100, "sats"), ("sats one hundred",)),
        (Reading("pulse", 105, "pulse"), ("pulse one oh five",)),
        (Reading("pulse", 140, "heart rate"), ("heart rate one forty",)),
        (Reading("pulse", 113, "pulse"), ("pulse one thirteen",)),
    ],
)
def test_numbers_are_scored_as_people_say_them(reading: Reading, spoken: tuple[str, ...]) -> None:
    assert reading.spoken == spoken
    assert all(reading_in(way) == reading for way in spoken)


def test_every_value_is_understood_again_from_its_words() -> None:
    for value in range(10, 251):
        assert reading_in(Reading("pulse", value, "pulse").spoken[0]).value == value


def test_rivals_share_the_tens_or_the_ones() -> None:
    rivals = [r.value for r in Reading("spo2", 96, "oxygen").rivals()]
    assert {90, 91, 95, 99, 86, 76, 66} <= set(rivals) and 96 not in rivals
    assert {140, 113, 124} <= {r.value for r in Reading("pulse", 114, "pulse").rivals()}


def test_88_is_not_mistakable() -> None:
    assert Reading("spo2", 88).mistakable() == []


def test_wording_is_what_a_recogniser_writes() -> None:
    assert Reading("pulse", 140, "heart rate").wording == "heart rate 140"
    assert reading_in("eighty-eight percent").wording == "88%"


@pytest.mark.parametrize("text", ["Oxygen 95. Oxygen", "Oxygen 95. Oxygen 95.", "oxygen 95!"])
def test_a_second_beginning_is_passed_over(text: str) -> None:
    assert reading_in(text) == Reading("spo2", 95, "oxygen")


def test_another_number_behind_is_not() -> None:
    assert reading_in("Oxygen 95. Oxygen 85.") is None


def test_a_name_without_a_clear_value_is_tried_by_its_tens() -> None:
    tens = [r.value for r in guesses("Oxygen Antifim Oxy")]
    assert tens == [50, 60, 70, 80, 90, 100]
    assert [r.value for r in around(Reading("spo2", 90, "oxygen"))] == list(range(90, 100))
    assert [r.value for r in around(Reading("spo2", 100, "oxygen"))] == [100]


def test_a_clear_value_without_a_name_is_tried_as_a_saturation() -> None:
    assert guesses("or Japan's 95.") == [Reading("spo2", 95, "oxygen")]
    assert guesses("31.") == [] and guesses("chest rising") == []


def test_where_a_saturation_was_asked_for_a_number_is_tried_in_every_way_of_saying_it() -> None:
    """'95 percent' scored as 'oxygen 95' is no number at all."""
    tries = guesses("95 person", asks_number=True)
    assert {r.value for r in tries} == {95}
    assert {r.wording for r in tries} == {"95%", "oxygen 95", "sats 95", "95"}


def test_where_a_saturation_was_asked_for_anything_is_tried_as_one() -> None:
    assert guesses("That is 3%.") == []
    tries = guesses("That is 3%.", asks_number=True)
    assert {(r.value, r.wording) for r in tries} >= {(90, "90%"), (90, "oxygen 90"), (50, "50%")}
    assert {r.quantity for r in tries} == {"spo2"}
    assert around(Reading("spo2", 90, "", "%"))[3].wording == "93%"
