"""Session time of samples and of microphone blocks."""

import numpy as np
import pytest

from prompter.live.clock import BlockClock, HeardAt, LiveClock


class SteppedClock(LiveClock):
    """A clock that is set by hand."""

    def __init__(self) -> None:
        super().__init__()
        self.ms = 0

    def now_ms(self) -> int:
        return self.ms


def test_a_sample_is_heard_when_it_was_taken_and_the_card_has_played_what_is_before_it() -> None:
    clock = SteppedClock()
    heard = HeardAt(clock)
    heard.counts_for(1000)
    heard.latency_ms = 40
    clock.ms = 500
    heard.tap(np.zeros(100, np.float32))
    assert heard.sound_ms(100) == 540  # the next sample to be taken
    assert heard.sound_ms(90) == 530


@pytest.mark.parametrize("burst", [1, 4, 10])
def test_blocks_that_come_in_bursts_are_spread_evenly(burst: int) -> None:
    blocks = BlockClock(32.0, 500.0)
    ends = [blocks.ended_at((n // burst + 1) * burst * 32) for n in range(200)]
    steps = np.diff(ends[100:])
    assert steps.min() >= 0 and steps.max() <= 32 * 2
    assert abs(np.mean(steps) - 32) < 1.5


def test_a_block_never_ends_in_the_future() -> None:
    blocks = BlockClock(32.0, 500.0)
    for now in (0, 10, 20, 100, 5_000, 5_010):
        assert blocks.ended_at(now) <= now


def test_after_a_gap_the_count_begins_anew() -> None:
    blocks = BlockClock(32.0, 500.0)
    blocks.ended_at(100)
    assert blocks.ended_at(10_000) == 10_000
