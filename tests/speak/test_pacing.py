"""Rates and ratios as the guidelines have them, on sample positions over ten minutes."""

import numpy as np
import pytest

from prompter.errors import Bug
from prompter.events import Pace
from prompter.speak.pacing import Grid

RATES_HZ = (22_050, 44_100, 48_000)
TEN_MINUTES_S = 600


def grid(
    what: str, per_minute: float, pushes: int = 0, breaths: int = 0, rate_hz: int = 48_000
) -> Grid:
    return Grid.of(Pace(0, 1, what, per_minute, None, pushes, breaths), rate_hz)


def beats(of: Grid, seconds: float = TEN_MINUTES_S) -> list[tuple[str, int]]:
    """Every beat that begins within `seconds`, walked one by one."""
    found = []
    while of.offset(len(found)) < seconds * of.rate_hz:
        found.append((of.beat(len(found)), of.offset(len(found))))
    return found


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("what", "per_minute"),
    [
        # Topjian et al., 2020 AHA Guidelines Part 4, Circulation 2020;142(suppl 2):S469
        ("breaths", 30),  # infant or child: one every 2 s
        ("breaths", 20),  # infant or child: one every 3 s
        # Panchal et al., 2020 AHA Guidelines Part 3, Circulation 2020;142(suppl 2):S366
        ("breaths", 10),  # adult: one every 6 s
        # both: compressions 100 to 120 a minute
        ("pushes", 100),
        ("pushes", 110),
        ("pushes", 120),
    ],
)
def test_ten_minutes_without_drift(what: str, per_minute: int, rate_hz: int) -> None:
    found = beats(grid(what, per_minute, rate_hz=rate_hz))
    assert len(found) == per_minute * 10
    for number, (_, offset) in enumerate(found):
        # Never more than half a sample from the exact place, in the last minute as in the first.
        assert abs(offset * per_minute - number * 60 * rate_hz) * 2 <= per_minute
    gaps = np.diff([offset for _, offset in found])
    assert gaps.max() - gaps.min() <= 1


@pytest.mark.parametrize(
    ("pushes", "breaths"),
    [
        (30, 2),  # one rescuer, all ages: both 2020 AHA guideline parts
        (15, 2),  # two rescuers, infant or child: Topjian et al. 2020
    ],
)
@pytest.mark.parametrize("per_minute", [100, 110, 120])
def test_pushes_and_breaths_in_their_ratio(pushes: int, breaths: int, per_minute: int) -> None:
    rate_hz = 22_050
    found = beats(grid("pushes", per_minute, pushes, breaths, rate_hz))
    cycle = pushes + breaths
    whole = len(found) // cycle * cycle
    assert whole >= 20 * cycle
    for number, (what, _) in enumerate(found):
        assert what == ("push" if number % cycle < pushes else "breath")
    offsets = np.array([offset for _, offset in found[:whole]]).reshape(-1, cycle)
    within = np.diff(offsets[:, :pushes], axis=1) / rate_hz
    assert within.min() > 60 / 120 - 0.001 and within.max() < 60 / 100 + 0.001
    assert np.abs(within - 60 / per_minute).max() < 1 / rate_hz
    # Each breath over about 1 s: both guideline parts. Less than 10 s without pushes: from memory.
    assert np.diff(offsets[:, pushes:], axis=1).min() / rate_hz > 1.5
    pauses = (offsets[1:, 0] - offsets[:-1, pushes - 1]) / rate_hz
    assert pauses.max() < 10
    cycles = np.diff(offsets[:, 0])
    assert cycles.max() - cycles.min() <= 1, "the hundredth cycle is as long as the first"


@pytest.mark.parametrize("what", ["pushes"])
def test_pushes_only(what: str) -> None:
    for pushes, breaths in ((0, 0), (30, 0), (0, 2)):
        found = beats(grid(what, 110, pushes, breaths))
        assert {kind for kind, _ in found} == {"push"} and len(found) == 1_100


def test_suction_ticks_each_second_whatever_the_rate_says() -> None:
    for per_minute in (60, 0, 37):
        ticks = grid("suction", per_minute)
        # one pass no longer than 15 s: Blakeman et al., Respir Care 2022;67(2):258
        assert beats(ticks, 15) == [("tick", second * 48_000) for second in range(15)]
        assert ticks.end(ticks.until(0, 10)) == 10 * 48_000


def test_a_counted_pace_ends_after_its_last_breath() -> None:
    child = grid("breaths", 20)
    assert child.until(0, 4) == 4
    # Three breaths' distance and the last breath, out included: four fit the 12 s of the rescue
    # cycle (3 to 4 breaths: common practice, no source).
    assert child.end(4) == (3 * 3 + 2) * 48_000
    fast = grid("breaths", 40)
    assert fast.end(4) == 4 * 48_000 * 60 // 40, "never later than the next breath would be"


def test_counted_pushes_count_pushes_alone() -> None:
    both = grid("pushes", 100, 30, 2)
    assert both.until(0, 30) == 32, "the breaths that complete the cycle follow"
    assert both.until(0, 31) == 33
    assert both.until(0, 60) == 64
    assert both.until(30, 30) == 64, "beginning with the breaths"
    assert both.until(17, 13) == 32
    assert grid("pushes", 100).until(5, 30) == 35


@pytest.mark.parametrize(("per_minute", "seconds"), [(10, 1.0), (30, 1.0), (60, 0.5)])
def test_a_breath_sounds_about_a_second_and_never_runs_into_the_next(
    per_minute: float, seconds: float
) -> None:
    assert grid("breaths", per_minute).breath_s() == seconds
    assert grid("pushes", 110, 30, 2).breath_s() == 1.0


@pytest.mark.parametrize(
    "pace",
    [
        Pace(0, 1, "breaths", 0),
        Pace(0, 1, "breaths", -20),
        Pace(0, 1, "breaths", float("nan")),
        Pace(0, 1, "breaths", float("inf")),
        Pace(0, 1, "breaths", 20, 0),
        Pace(0, 1, "steps", 20),
    ],
)
def test_a_pace_that_cannot_be_is_a_bug(pace: Pace) -> None:
    with pytest.raises(Bug):
        Grid.of(pace, 48_000)
