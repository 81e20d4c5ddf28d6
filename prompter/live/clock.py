"""The session's clock, and when a sample of the mixer is heard: two clocks made one."""

import threading
import time
from datetime import datetime, timedelta

import numpy as np

from prompter import limits


def _asleep_s() -> float:
    """How long the machine has slept since it was started, as far as its clock does not count that."""
    if not hasattr(time, "CLOCK_BOOTTIME"):
        return 0.0
    return time.clock_gettime(time.CLOCK_BOOTTIME) - time.monotonic()


class LiveClock:
    """Session time 0 is when this is made, or before, if it goes on. Safe from any thread."""

    def __init__(self) -> None:
        self.began = datetime.now().astimezone()
        self.zero_s = time.monotonic()
        self._ahead_s = 0.0
        self._asleep_s, self._asked_s = _asleep_s(), self.zero_s

    def now_ms(self) -> int:
        return round((time.monotonic() - self.zero_s) * 1000)

    def stood_still_ms(self) -> int:
        """How long the machine slept or the program was held up since this last was asked; 0 if it
        was not. Session time has gone on meanwhile: where the system's clock stands still during
        sleep (Linux), it is set on here. Asked by one thread, often."""
        now_s, asleep_s = time.monotonic(), _asleep_s()
        slept_s, held_s = asleep_s - self._asleep_s, now_s - self._asked_s
        self._asleep_s, self._asked_s = asleep_s, now_s
        if slept_s < 1.0:  # two clocks read one after the other differ a little
            slept_s = 0.0
        self.zero_s -= slept_s
        gap_s = held_s + slept_s
        return round(1000 * gap_s) if gap_s >= limits.STOOD_STILL_S else 0

    def go_on(self, at_ms: int) -> None:
        """It is `at_ms` now: an earlier session goes on. Before anybody else uses this clock."""
        self.zero_s = time.monotonic() - at_ms / 1000
        self.began = datetime.now().astimezone() - timedelta(milliseconds=at_ms)
        self._asked_s = time.monotonic()

    def changed_ms(self) -> int:
        """By how much the wall clock was set forward (or back: negative) since this last told; 0 if
        it was not. A machine that was asleep looks the same."""
        wall_s = (datetime.now().astimezone() - self.began).total_seconds()
        ahead_s = wall_s - (time.monotonic() - self.zero_s)
        changed_s = ahead_s - self._ahead_s
        if abs(changed_s) < limits.CLOCK_CHANGED_S:
            return 0
        self._ahead_s = ahead_s
        return round(1000 * changed_s)


class HeardAt:
    """Turns the mixer's sample positions into session time.

    Threads: the sound card's calls `tap` for each block it takes; any may ask.
    """

    def __init__(self, clock: LiveClock) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._taken, self._at_ms = 0, 0
        self._rate_hz = 1
        self.latency_ms = 0.0

    def counts_for(self, rate_hz: int) -> None:
        """The mixer's sample rate."""
        self._rate_hz = rate_hz

    def tap(self, block: np.ndarray) -> None:
        """These samples have just been handed to the sound card."""
        with self._lock:
            self._taken += len(block)
            self._at_ms = self._clock.now_ms()

    def sound_ms(self, position: int) -> int:
        """When the sample at `position` comes (or came) out of the loudspeaker."""
        with self._lock:
            ahead = 1000 * (position - self._taken) / self._rate_hz
            return max(0, round(self._at_ms + ahead + self.latency_ms))


class BlockClock:
    """When each microphone block ended, though blocks are fetched in bursts: a smoothed count."""

    _FOLLOW = 0.1
    """Share of the difference to the clock taken over at each block: bursts vanish, drift does not."""

    def __init__(self, block_ms: float, latest_jump_ms: float) -> None:
        self._block_ms, self._jump_ms = block_ms, latest_jump_ms
        self._end_ms: float | None = None

    def ended_at(self, now_ms: int) -> int:
        """The end of the block fetched at `now_ms`; never later than that."""
        expected = now_ms if self._end_ms is None else self._end_ms + self._block_ms
        if abs(now_ms - expected) > self._jump_ms:  # blocks were lost, or the device is a new one
            expected = now_ms
        self._end_ms = min(float(now_ms), expected + self._FOLLOW * (now_ms - expected))
        return round(self._end_ms)
