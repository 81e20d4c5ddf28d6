"""What the simulated ear does comes out as the measured rates say (README's figures, written here)."""

from math import sqrt
from random import Random

import pytest

from prompter.events import Answered, Numbered, Unclear
from prompter.practise.world.hearing import HearingModel
from prompter.practise.world.parameters import the_parameters

N = 40_000
ALLOWED = ("rising", "flat", "came out", "hold on")


def bound(share: float) -> float:
    """Four standard errors: a right rate is outside once in 16,000."""
    return 4 * sqrt(share * (1 - share) / N)


def outcomes(said: str) -> list[object]:
    ear = HearingModel(the_parameters(), Random(5))
    return [ear.answer(said, ALLOWED, 0) for _ in range(N)]


def test_an_answer_is_believed_at_the_first_try_as_often_as_measured() -> None:
    heard = outcomes("flat")
    right = sum(isinstance(e, Answered) and e.answer == "flat" for e in heard) / N
    assert right == pytest.approx(232 / 243, abs=bound(0.955) + 0.001)


def test_it_is_taken_for_another_no_more_often_than_the_measured_bound_allows() -> None:
    wrong = sum(isinstance(e, Answered) and e.answer != "flat" for e in outcomes("flat")) / N
    assert 0 < wrong <= 0.0018 + bound(0.0018)


def test_what_is_not_listened_for_is_not_believed() -> None:
    believed = [e for e in outcomes("rising now") if isinstance(e, Answered)]
    assert len(believed) / N <= 0.0018 + bound(0.0018)


def test_what_is_not_believed_is_in_doubt() -> None:
    doubtful = [e for e in outcomes("flat") if isinstance(e, Unclear)]
    assert len(doubtful) / N == pytest.approx(11 / 243, abs=bound(0.045) + 0.002)
    assert any(e.answer == "flat" for e in doubtful)
    assert any(e.answer is None for e in doubtful)


def test_numbers_are_believed_at_the_first_try_as_often_as_measured() -> None:
    ear = HearingModel(the_parameters(), Random(6))
    right = sum(isinstance(e := ear.number(95, 0), Numbered) and e.value == 95 for _ in range(N)) / N
    assert right == pytest.approx(84 / 191, abs=bound(0.44) + 0.006)


def test_other_talk_is_taken_for_an_answer_within_the_measured_bound() -> None:
    """6 of 300 sentences near to answers: at most 3.9% (one-sided 95%)."""
    ear = HearingModel(the_parameters(), Random(7))
    taken = sum(isinstance(ear.talk(ALLOWED, 0), Answered) for _ in range(N)) / N
    assert 0 < taken <= 0.039
