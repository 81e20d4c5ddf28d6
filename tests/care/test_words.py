"""Words for a synthetic voice."""

import pytest

from prompter.care import words


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (9, "centimetre", "9 centimetres"),
        (1, "millilitre", "1 millilitre"),
        (0.5, "millilitre", "half a millilitre"),
        (1.5, "millilitre", "1 and a half millilitres"),
        (6.25, "centimetre", "6 point 2 5 centimetres"),
        (1.2, "millilitre", "1 point 2 millilitres"),
        (10, "second", "10 seconds"),
        (100, "second", "100 seconds"),
    ],
)
def test_quantities(value, unit, said):
    assert words.quantity(value, unit) == said


@pytest.mark.parametrize(
    ("phone", "said"),
    [
        ("555-0142", "5 5 5, 0 1 4 2"),
        ("+1 (555) 0142", "plus, 1, 5 5 5, 0 1 4 2"),
        ("5550142", "5 5 5 0 1 4 2"),
        ("*55", "star, 5 5"),
    ],
)
def test_digits_one_by_one(phone, said):
    assert words.digits(phone) == said


def test_address_lines():
    assert words.sentence_list(["12 Lantern Row.", " Exampleton"]) == "12 Lantern Row, Exampleton"
