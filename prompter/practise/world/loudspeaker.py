"""Plays cues as the mixer does, without sound: when each clip and beat begins and ends. Times in ms."""

import re
from collections import deque
from collections.abc import Collection
from functools import lru_cache
from typing import Protocol

from prompter.events import Pace, Say, Tone
from prompter.limits import SPEECH_GAP_MS, TONE_GAP_MS
from prompter.speak.pacing import Grid

TONE_MS, NEVER, GRID_HZ = 150, 1 << 60, 1_000
Cue = Say | Tone | Pace


@lru_cache(maxsize=4_096)
def clip_ms(text: str) -> int:
    """How long the embedded voice takes: fitted over all texts of a plan (222 ms of spread)."""
    return int(313 + 42 * len(text) + 580 * len(re.findall(r"[.,:?]", text[:-1])))


class Listener(Protocol):
    """Who is told what has been played."""

    def ended(self, cue: int, cut: bool) -> None: ...
    def heard(self, say: Say) -> None: ...
    def breath_tone(self) -> None: ...


class Loudspeaker:
    """One queue of speech, one beat under it. `step(now)` does what is due at `next_at`."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._queue: deque[Cue] = deque()
        self._playing: Say | Tone | None = None
        self._playing_ends = self._free_at = 0
        self._pace: Pace | None = None
        self._grid: Grid | None = None
        self._origin = self._beat = 0
        self._beat_ends = NEVER
        self._cut: list[int] = []
        self.late_ms = 0
        self.next_at = NEVER

    @property
    def speaking(self) -> bool:
        return self._playing is not None or any(not isinstance(cue, Pace) for cue in self._queue)

    @property
    def free_at(self) -> int:
        """When the clip that plays now ends."""
        return self._playing_ends if self._playing else self._free_at

    @property
    def paced(self) -> str:
        return self._pace.what if self._pace else ""

    def enqueue(self, cue: Cue, now: int) -> None:
        if self.late_ms:
            self._free_at = max(self._free_at, now + self.late_ms)
        self._queue.append(cue)
        self._begin(now)

    def hush(self, now: int) -> None:
        """Cuts what is spoken and drops what waits; the beat goes on."""
        if self._playing is not None:
            self._cut.append(self._playing.cue)
            self._playing, self._free_at = None, now
        self._drop(lambda cue: not isinstance(cue, Pace))
        self._begin(now)

    def drop_queued(self, roles: Collection[str], now: int) -> None:
        self._drop(lambda cue: isinstance(cue, Say) and cue.role in roles)
        self._plan(now)

    def stop_pace(self, now: int) -> None:
        self._end_pace(cut=True)
        self._drop(lambda cue: isinstance(cue, Pace))
        self._plan(now)

    def step(self, now: int) -> None:
        """One thing that is due."""
        if self._cut:
            cue = self._cut.pop(0)
            self._plan(now)
            self._listener.ended(cue, True)
        elif self._playing is not None and self._playing_ends <= now:
            played, self._playing = self._playing, None
            self._free_at = now + (SPEECH_GAP_MS if isinstance(played, Say) else TONE_GAP_MS)
            self._begin(now)
            if isinstance(played, Say):
                self._listener.heard(played)
            self._listener.ended(played.cue, False)
        elif self._pace is not None and self._beat_ends <= now:
            self._end_pace(cut=False)
            self._plan(now)
        elif self._pace is not None and self._next_beat_at() <= now:
            self._beat += 1
            self._to_breath()
            self._plan(now)
            self._listener.breath_tone()
        else:
            self._begin(now)

    def _begin(self, now: int) -> None:
        while self._queue and self._playing is None and now >= self._free_at:
            cue = self._queue.popleft()
            if isinstance(cue, Pace):
                self._start_pace(cue, now)
            else:
                self._playing = cue
                self._playing_ends = now + (TONE_MS if isinstance(cue, Tone) else clip_ms(cue.text))
        self._plan(now)

    def _start_pace(self, pace: Pace, now: int) -> None:
        self._end_pace(cut=True)
        self._pace, self._grid, self._origin, self._beat = pace, Grid.of(pace, GRID_HZ), now, 0
        self._beat_ends = NEVER
        if pace.count is not None:
            self._beat_ends = now + self._grid.end(self._grid.until(0, pace.count))
        self._to_breath()

    def _to_breath(self) -> None:
        """Only breaths matter here; pushes and seconds are passed over."""
        grid = self._grid
        if grid is not None and (grid.what == "breaths" or grid.breaths_a_cycle):
            while grid.beat(self._beat) != "breath":
                self._beat += 1

    def _next_beat_at(self) -> int:
        grid = self._grid
        if grid is None or not (grid.what == "breaths" or grid.breaths_a_cycle):
            return NEVER
        return self._origin + grid.offset(self._beat)

    def _end_pace(self, cut: bool) -> None:
        if self._pace is not None:
            ended, self._pace, self._grid = self._pace, None, None
            if cut:
                self._cut.append(ended.cue)
            else:
                self._listener.ended(ended.cue, False)

    def _drop(self, unwanted) -> None:
        for cue in [cue for cue in self._queue if unwanted(cue)]:
            self._queue.remove(cue)
            self._cut.append(cue.cue)

    def _plan(self, now: int) -> None:
        if self._cut:
            self.next_at = now
            return
        at = self._playing_ends if self._playing else self._free_at if self._queue else NEVER
        if self._pace is not None:
            at = min(at, self._beat_ends, self._next_beat_at())
        self.next_at = at if at > now else now
