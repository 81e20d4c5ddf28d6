"""Plays cues: one queue of speech, one beat under it, counted in the sound card's own samples.

The mixer has no clock, no thread and no device. Whoever plays sound (a sound card's callback, a
stand-in, the virtual clock of a rehearsal) pulls `render`; what happened, and at which sample, is
fetched with `take_reports`. Threads: one may enqueue and hush, one may render; the lock between
them is held for microseconds, and clips are looked up outside of it.
"""

import threading
from collections import deque
from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np

from prompter import limits
from prompter.events import Pace, Say, Tone
from prompter.speak import tones
from prompter.speak.loudness import louder
from prompter.speak.pacing import Grid
from prompter.speak.resample import AtRate

SPEECH_GAIN = 0.85
"""With clips' and tones' own peaks the sum stays below full scale."""

DUCK_GAIN = 0.35
"""The beat under speech, and a tone that it begins upon: about 9 dB down, still to be heard, and still on the beat."""

DUCK_MS, UNDUCK_MS = 10, 250
"""How fast the beat goes down when speech begins, and comes back."""

READ_MS_A_WORD = 400
"""A prompt that cannot be spoken takes the time it would have been spoken in: it has to be read."""


@dataclass(frozen=True, slots=True)
class PromptStarted:
    """Cue number `cue` begins at sample `position`. `voiced` is False if there is no clip for it:
    then only a tone calls for attention, and the text must be shown."""

    cue: int
    position: int
    voiced: bool = True


@dataclass(frozen=True, slots=True)
class PromptEndedAt:
    """Cue number `cue` ended at sample `position`: played to its end, or `cut`."""

    cue: int
    position: int
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Beat:
    """Beat `index` (from 0) of pace `cue` begins at sample `position`. `what`: 'breath' | 'push' |
    'tick'; among pushes and breaths all are numbered in one row."""

    cue: int
    what: str
    index: int
    position: int


@dataclass(frozen=True, slots=True)
class PromptCut:
    """Cue number `cue` gave way at sample `position` to somebody who speaks; it is said again, from its
    beginning, unless it is dropped meanwhile."""

    cue: int
    position: int


Report = PromptStarted | PromptEndedAt | PromptCut | Beat


@dataclass(slots=True)
class _Sound:
    """Samples that begin at a position, and perhaps fade out from another."""

    samples: np.ndarray
    start: int
    end: int
    fade_from: int | None = None

    def fade(self, position: int, steps: int) -> None:
        if self.fade_from is None and position + steps < self.end:
            self.fade_from, self.end = position, position + steps

    def part(self, begin: int, end: int) -> np.ndarray:
        """The samples for `begin` to `end`, which lie within the sound."""
        part = self.samples[begin - self.start : end - self.start]
        if self.fade_from is not None:
            left = np.arange(self.end - begin, self.end - end, -1, dtype=np.float32)
            part = part * (left / np.float32(self.end - self.fade_from))
        return part


@dataclass(slots=True)
class _Waiting:
    """A cue in the queue; `samples` is None for a pace."""

    cue: Say | Tone | Pace
    samples: np.ndarray | None = None
    voiced: bool = True


@dataclass(slots=True)
class _Playing:
    """What sounds; `again`: it gave way, and is put back into the queue when it has faded."""

    cue: Say | Tone
    sound: _Sound
    voiced: bool = True
    cut: bool = False
    again: bool = False


@dataclass(slots=True)
class _Pacing:
    """A running pace: beats `next` up to `after` (None: endless) of a grid begun at `origin`."""

    cue: int
    grid: Grid
    origin: int
    first: int
    next: int
    after: int | None

    @property
    def next_at(self) -> int | None:
        if self.after is not None and self.next >= self.after:
            return None
        return self.origin + self.grid.offset(self.next)

    @property
    def end_at(self) -> int | None:
        return None if self.after is None else self.origin + self.grid.end(self.after)


class Mixer:
    """Mixes at `rate_hz`; `clip_of` gives a text's clip, float32 mono at `limits.MIX_RATE_HZ`.

    `speech_db`: prompts enqueued from now on are so much louder than usual (see `loudness`).
    `position` is the number of samples rendered, `errors` how often rendering failed (and gave
    silence instead).
    """

    def __init__(self, rate_hz: int, clip_of: Callable[[str], np.ndarray | None]) -> None:
        self.rate_hz = rate_hz
        self.position = 0
        self.errors = 0
        self.speech_db = 0.0
        self._clip_of = AtRate(clip_of, rate_hz)
        self._lock = threading.Lock()
        self._queue: deque[_Waiting] = deque()
        self._playing: _Playing | None = None
        self._under: list[_Playing] = []  # tones that the prompt after them has begun upon
        self._free_at = 0
        self._held_until: int | None = None
        self._gave_way: dict[int, int] = {}
        self._pace: _Pacing | None = None
        self._last_grid: _Pacing | None = None
        self._last_beat: tuple[str, str, int] | None = None  # of which pace, what, where
        self._beats: list[_Sound] = []
        self._duck = (0, 1.0, 1.0, 1)  # since, from, to, samples it takes
        self._reports: list[Report] = []
        self._failed_before = False

    # ---- asked by the session ------------------------------------------------------------------

    def enqueue(self, cue: Say | Tone | Pace) -> None:
        """Play `cue` after what is queued already. Raises Bug for a tone or pace that cannot be.

        A pace starts when the speech queued before it has ended, and then runs under later speech.
        """
        if isinstance(cue, Pace):
            grid = Grid.of(cue, self.rate_hz)
            for what in ("breath", "push", "tick"):  # made here once, not in the sound card's call
                self._beat_samples(what, grid)
            waiting = _Waiting(cue)
        elif isinstance(cue, Tone):
            waiting = _Waiting(cue, tones.named(cue.name, self.rate_hz))
        else:
            clip = self._clip(cue.text)
            voiced = clip is not None
            waiting = _Waiting(cue, self._unspoken(cue.text) if clip is None else clip, voiced)
        with self._lock:
            self._queue.append(waiting)
            if len(self._queue) > limits.SPEECH_QUEUE_MAX:
                self._report_end(self._queue.popleft().cue.cue, cut=True)

    def stop_pace(self) -> None:
        """End the beat, and the paces that still wait."""
        with self._lock:
            self._end_pace(self.position, cut=True)
            self._drop(lambda cue: isinstance(cue, Pace))

    def give_way(self) -> list[int]:
        """Somebody speaks: cut the prompt that sounds, and let nothing be said until `go_on` (or for
        `limits.GIVE_WAY_MS`). What was cut is then said again. The beat, and tones, go on. A prompt
        that has given way `limits.GIVE_WAY_TIMES` times is not cut again. Returns the cue cut, if any.
        """
        with self._lock:
            playing = self._playing
            if playing is not None and isinstance(playing.cue, Say):
                cue = playing.cue.cue
                if playing.cut or self._gave_way.get(cue, 0) >= limits.GIVE_WAY_TIMES:
                    return []
                self._gave_way[cue] = self._gave_way.get(cue, 0) + 1
                playing.cut = playing.again = True
                playing.sound.fade(self.position, self._samples(limits.GIVE_WAY_FADE_MS))
                self._held_until = self.position + self._samples(limits.GIVE_WAY_MS)
                return [cue]
            if self._queue and isinstance(self._queue[0].cue, Say):
                if self._gave_way.get(self._queue[0].cue.cue, 0) < limits.GIVE_WAY_TIMES:
                    self._held_until = self.position + self._samples(limits.GIVE_WAY_MS)
            return []

    def go_on(self) -> None:
        """Nobody speaks any more: say again what was cut, and what waits."""
        with self._lock:
            self._held_until = None

    def hush(self, keep_pace: bool = True) -> list[int]:
        """Cut what is being spoken and drop what is queued; returns the cue numbers cut."""
        with self._lock:
            cut = []
            self._held_until = None
            if self._playing:
                self._playing.again = False
            if self._playing and not self._playing.cut:
                cut.append(self._playing.cue.cue)
                self._playing.cut = True
                self._playing.sound.fade(self.position, self._samples(limits.HUSH_FADE_MS))
            for tone in self._under:
                if tone.cut:
                    continue
                cut.append(tone.cue.cue)
                tone.cut = True
                tone.sound.fade(self.position, self._samples(limits.HUSH_FADE_MS))
            if not keep_pace:
                if self._pace:
                    cut.append(self._pace.cue)
                self._end_pace(self.position, cut=True)
            return cut + self._drop(lambda cue: not (keep_pace and isinstance(cue, Pace)))

    def drop_queued(self, roles: Collection[str]) -> list[int]:
        """Drop waiting speech of these roles; returns its cue numbers."""
        with self._lock:
            if self._playing and isinstance(self._playing.cue, Say) and self._playing.cue.role in roles:
                self._playing.again = False
            return self._drop(lambda cue: isinstance(cue, Say) and cue.role in roles)

    @property
    def speaking(self) -> bool:
        """Whether a word or tone is sounding or about to. The beat does not count."""
        with self._lock:
            return self._playing is not None or bool(self._under) or any(
                not isinstance(waiting.cue, Pace) for waiting in self._queue
            )

    def quiet_for_ms(self) -> int | None:
        """How long nothing will sound from here on; 0: something does; None: without an end."""
        with self._lock:
            if self._playing or self._under or self._queue or self._beats:
                return 0
            at = self._pace.next_at if self._pace else None
            return None if at is None else (at - self.position) * 1000 // self.rate_hz

    @property
    def pacing(self) -> bool:
        """Whether a beat runs."""
        return self._pace is not None

    def take_reports(self) -> list[Report]:
        """What has happened since the last call, in order."""
        with self._lock:
            reports, self._reports = self._reports, []
        return reports

    # ---- pulled by whoever plays ----------------------------------------------------------------

    def render(self, count: int) -> np.ndarray:
        """The next `count` samples, float32 mono in -1..1. Never raises: an error gives silence."""
        out = np.zeros(max(0, count), np.float32)
        with self._lock:
            start = self.position
            try:
                self._fill(out)
                self._failed_before = False
            except Exception:  # noqa: BLE001 - the sound card must get its samples
                out[:] = 0
                self.errors += 1
                self.position = start + len(out)
                self._give_up_sound()
        return out

    def _fill(self, out: np.ndarray) -> None:
        begin, end = self.position, self.position + len(out)
        while self.position < end:
            self._finish()
            self._begin()
            stop = min(end, self._next_change())
            self._mix(out[self.position - begin : stop - begin], stop)
            self.position = stop
        self._finish()
        np.clip(out, -1.0, 1.0, out=out)

    def _finish(self) -> None:
        """End what ends at or before this position."""
        now = self.position
        for tone in [tone for tone in self._under if now >= tone.sound.end]:
            self._report_end(tone.cue.cue, tone.cut, tone.sound.end)
            self._under.remove(tone)
        playing = self._playing
        if playing and now >= playing.sound.end:
            if playing.again and isinstance(playing.cue, Say):
                self._reports.append(PromptCut(playing.cue.cue, playing.sound.end))
                self._queue.appendleft(_Waiting(playing.cue, playing.sound.samples, playing.voiced))
            else:
                self._gave_way.pop(playing.cue.cue, None)
                self._report_end(playing.cue.cue, playing.cut, playing.sound.end)
            speech = isinstance(playing.cue, Say)
            gap_ms = limits.SPEECH_GAP_MS if speech else limits.TONE_GAP_MS
            self._free_at = playing.sound.end + self._samples(gap_ms)
            self._playing = None
            if speech:
                self._turn_beat(playing.sound.end, 1.0, UNDUCK_MS)
        if self._pace and self._pace.end_at is not None and now >= self._pace.end_at:
            self._end_pace(self._pace.end_at, cut=False)
        self._beats = [sound for sound in self._beats if sound.end > now]

    def _begin(self) -> None:
        """Start what starts at this position."""
        now = self.position
        if self._held_until is not None and now >= self._held_until:
            self._held_until = None
        while self._queue and self._may_begin(self._queue[0]):
            waiting = self._queue.popleft()
            if self._playing:
                self._under.append(self._playing)
            self._reports.append(PromptStarted(waiting.cue.cue, now, waiting.voiced))
            if isinstance(waiting.cue, Pace):
                self._start_pace(waiting.cue)
            elif waiting.samples is not None:
                sound = _Sound(waiting.samples, now, now + len(waiting.samples))
                self._playing = _Playing(waiting.cue, sound, waiting.voiced)
                if isinstance(waiting.cue, Say):
                    self._turn_beat(now, DUCK_GAIN, DUCK_MS)
        pace = self._pace
        while pace and (at := pace.next_at) is not None and now >= at:
            what = pace.grid.beat(pace.next)
            if len(self._reports) < limits.MIX_REPORTS_MAX:
                self._reports.append(Beat(pace.cue, what, pace.next - pace.first, at))
            samples = self._beat_samples(what, pace.grid)
            self._beats.append(_Sound(samples, at, at + len(samples)))
            self._last_beat = (pace.grid.what, what, at)
            pace.next += 1

    def _may_begin(self, waiting: _Waiting) -> bool:
        """Whether the first that waits may begin here. A prompt does not wait for the end of a tone that
        only says "heard": the answer to it comes in the same breath (80 ms sooner, and the gap). The tone is
        ducked as the beat is, or the first word is harder to understand."""
        playing = self._playing
        upon_a_tone = playing and isinstance(playing.cue, Tone) and playing.cue.name == "noted" and not playing.cut and isinstance(waiting.cue, Say)
        return (upon_a_tone or (not playing and self.position >= self._free_at)) and not self._holds(waiting)

    def _holds(self, waiting: _Waiting) -> bool:
        """Whether this waits until somebody has spoken: prompts, not the beat or a tone."""
        return self._held_until is not None and isinstance(waiting.cue, Say)

    def _next_change(self) -> int:
        """The position at which something starts or ends next."""
        now = self.position
        changes = [sound.end for sound in self._beats] + [tone.sound.end for tone in self._under]
        if self._playing:
            changes.append(self._playing.sound.end)
        elif self._queue:
            changes.append(self._free_at)
            if self._held_until is not None:
                changes.append(self._held_until)
        if self._pace:
            changes += [at for at in (self._pace.next_at, self._pace.end_at) if at is not None]
        return min((at for at in changes if at > now), default=1 << 62)

    def _mix(self, out: np.ndarray, stop: int) -> None:
        """Add all that sounds from this position to `stop`."""
        now = self.position
        if self._beats or self._under:
            since, start_gain, end_gain, steps = self._duck
            turned = np.clip((np.arange(now, stop) - since) / steps, 0.0, 1.0)
            gain = (start_gain + (end_gain - start_gain) * turned).astype(np.float32)
            for sound in (*self._beats, *(tone.sound for tone in self._under)):
                out += sound.part(now, stop) * gain
        if self._playing:
            gain_of_one = np.float32(SPEECH_GAIN if isinstance(self._playing.cue, Say) else 1.0)
            out += self._playing.sound.part(now, stop) * gain_of_one

    # ---- the beat --------------------------------------------------------------------------------

    def _start_pace(self, pace: Pace) -> None:
        """Replace the running pace; one of the same kind goes on in step with it."""
        now = self.position
        self._end_pace(now, cut=True, go_on=(grid := Grid.of(pace, self.rate_hz)))
        origin, first = now, 0
        before = self._last_grid
        if before and before.grid == grid and before.origin + grid.offset(before.next) >= now:
            origin, first = before.origin, before.next
        elif self._last_beat and self._last_beat[0] == grid.what:
            # Another tempo: its first beat is one beat after the last, or that would be given twice.
            _, beat, at = self._last_beat
            origin = max(now, at + grid.slot(beat))
        after = None if pace.count is None else grid.until(first, pace.count)
        self._pace = self._last_grid = _Pacing(pace.cue, grid, origin, first, first, after)

    def _end_pace(self, position: int, cut: bool, go_on: Grid | None = None) -> None:
        pace, self._pace = self._pace, None
        if pace is None:
            return
        self._report_end(pace.cue, cut, position)
        if cut and (go_on is None or pace.grid.what != go_on.what):
            for sound in self._beats:
                sound.fade(position, self._samples(limits.HUSH_FADE_MS))

    def _beat_samples(self, what: str, grid: Grid) -> np.ndarray:
        if what == "breath":
            return tones.breath(self.rate_hz, grid.breath_s())
        return tones.push(self.rate_hz) if what == "push" else tones.tick(self.rate_hz)

    def _turn_beat(self, position: int, gain: float, over_ms: int) -> None:
        """Let the beat's loudness go to `gain`, from where it is at `position`."""
        since, start_gain, end_gain, steps = self._duck
        turned = min(max((position - since) / steps, 0.0), 1.0)
        here = start_gain + (end_gain - start_gain) * turned
        self._duck = (position, here, gain, self._samples(over_ms))

    # ---- small parts ----------------------------------------------------------------------------

    def _samples(self, time_ms: int) -> int:
        return time_ms * self.rate_hz // 1000

    def _clip(self, text: str) -> np.ndarray | None:
        """A clip that can be played, or None."""
        try:
            clip = np.asarray(self._clip_of(text), dtype=np.float32)
        except Exception:  # noqa: BLE001 - no clip: the prompt is shown instead
            return None
        good = clip.ndim == 1 and len(clip) and np.isfinite(clip).all()
        return louder(clip, self.speech_db, self.rate_hz) if good else None

    def _unspoken(self, text: str) -> np.ndarray:
        tone = tones.attention(self.rate_hz)
        length = max(len(tone), self._samples(READ_MS_A_WORD * len(text.split())))
        return np.concatenate([tone, np.zeros(length - len(tone), np.float32)])

    def _drop(self, chosen: Callable[[Say | Tone | Pace], bool]) -> list[int]:
        dropped = [waiting.cue.cue for waiting in self._queue if chosen(waiting.cue)]
        for cue in dropped:
            self._gave_way.pop(cue, None)
        self._queue = deque(waiting for waiting in self._queue if not chosen(waiting.cue))
        for cue in dropped:
            self._report_end(cue, cut=True)
        return dropped

    def _report_end(self, cue: int, cut: bool, position: int | None = None) -> None:
        at = self.position if position is None else position
        self._reports.append(PromptEndedAt(cue, at, cut))

    def _give_up_sound(self) -> None:
        """After an error: drop what may have caused it, so that the next block can sound again.

        The beat survives a first error; a second one in a row ends it and the queue as well.
        """
        if self._playing:
            self._report_end(self._playing.cue.cue, cut=True)
            self._free_at, self._playing = self.position, None
        for tone in self._under:
            self._report_end(tone.cue.cue, cut=True)
        self._beats, self._under = [], []
        self._duck = (self.position, 1.0, 1.0, 1)
        if self._failed_before:
            self._end_pace(self.position, cut=True)
            self._drop(lambda cue: True)
        self._failed_before = True
