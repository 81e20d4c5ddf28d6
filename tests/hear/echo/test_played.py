"""What was played is found again in the microphone's time."""

import numpy as np
import pytest

from prompter import limits
from prompter.hear.echo.played import Played

AHEAD = limits.PLAYED_AHEAD_MS


def follow(
    rate_hz: int, jitter_ms: float = 0.0, drift: float = 0.0, seconds: int = 10, late_ms: float = 0.0, settled: bool = True
) -> tuple[np.ndarray, np.ndarray, int]:
    """A click each second, played in blocks of 10 ms with latency 40 ms; what the reader got, how often
    it jumped after the start, and when (ms of session time) the clicks were heard. `late_ms`: so late
    the blocks of the first second are handed over, though heard in time."""
    random = np.random.default_rng(0)
    played = Played(rate_hz)
    step = rate_hz // 100
    sound = np.zeros(seconds * rate_hz + step, np.float32)
    sound[:: rate_hz] = 1.0
    got, jumps, at_ms, sent = [], 0, 32, 0
    while at_ms < seconds * 1000:
        while sent * 10 * (1 + drift) < at_ms + 40:
            begins_ms = sent * 10 * (1 + drift) + random.uniform(-jitter_ms, jitter_ms) + late_ms * (sent < 100)
            played.add(sound[sent * step : (sent + 1) * step], round(begins_ms))
            sent += 1
        block, jumped = played.during(at_ms, settled)
        got.append(block)
        jumps += jumped and at_ms > 200
        at_ms += 32
    return np.concatenate(got), np.arange(1, seconds - 1) * 1000 * (1 + drift), jumps


def clicks_ms(sound: np.ndarray, near_ms: np.ndarray) -> np.ndarray:
    found = []
    for at in near_ms:
        begin = int((at - AHEAD - 60) * 16)
        found.append((begin + int(np.argmax(np.abs(sound[begin : begin + 1920])))) / 16)
    return np.array(found)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 48_000])
def test_each_sample_comes_in_time_and_a_little_ahead(rate_hz: int) -> None:
    sound, heard_ms, jumps = follow(rate_hz)
    assert np.abs(clicks_ms(sound, heard_ms) - (heard_ms - AHEAD)).max() < 10 and jumps == 0


def test_bursts_of_the_sound_card_do_not_move_it() -> None:
    sound, heard_ms, jumps = follow(48_000, jitter_ms=15)
    assert np.ptp(clicks_ms(sound, heard_ms) - heard_ms) < 0.1 and jumps == 0  # by the count, not by the clock


def test_two_clocks_that_drift_apart_are_followed_by_a_jump() -> None:
    sound, heard_ms, jumps = follow(48_000, drift=0.01)
    assert np.abs(clicks_ms(sound, heard_ms) - (heard_ms - AHEAD)).max() < limits.PLAYED_JUMP_MS + 10
    assert 1 <= jumps <= 3


def test_a_busy_start_does_not_leave_it_behind_what_is_heard() -> None:
    """Blocks that were handed over 50 ms late at first, as while the ears load: what was played must
    come before it is heard, or no filter can learn it."""
    sound, heard_ms, jumps = follow(48_000, jitter_ms=2, late_ms=50, settled=False)
    off_ms = (clicks_ms(sound, heard_ms) - heard_ms)[2:]
    assert np.all(off_ms < 0) and np.all(off_ms > -2 * AHEAD - 2) and jumps == 0


def test_what_has_been_learned_is_not_moved_under_the_filter() -> None:
    sound, heard_ms, _ = follow(48_000, jitter_ms=2, late_ms=50, settled=True)
    off_ms = (clicks_ms(sound, heard_ms) - heard_ms)[2:]
    assert np.ptp(off_ms) < 0.1


def test_nothing_played_is_silence() -> None:
    block, jumped = Played(48_000).during(1000)
    assert jumped and len(block) == limits.BLOCK_SAMPLES and not block.any()
