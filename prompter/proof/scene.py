"""One emergency as it would be heard: the machine, and a loudspeaker that plays its cues in simulated time.

A scene can be forked at any moment, which is what the walk needs: every event is tried from every state.
Clips have the length of the embedded voice; a clip that plays when silence moves the flow is played out.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

from prompter.events import (
    Answered,
    Moved,
    Numbered,
    Pace,
    PaceStopped,
    PromptEnded,
    Record,
    Say,
    Started,
    Ticked,
    Tone,
    Unclear,
)
from prompter.flow.machine import FlowMachine
from prompter.limits import SPEECH_GAP_MS, TONE_GAP_MS

TONE_MS = 150
NEVER = 1 << 60
DROPPED_ON_A_MOVE = frozenset({"care", "question", "helper", "notice", "echo"})
_SPOKEN = (Answered, Numbered, Unclear)


@lru_cache(maxsize=4096)
def clip_ms(text: str) -> int:
    """How long the embedded voice takes over a text: fitted over all texts of a plan (222 ms of spread)."""
    return int(313 + 42 * len(text) + 580 * len(re.findall(r"[.,:?]", text[:-1])))


@dataclass(slots=True)
class Heard:
    """A clip as it begins to sound; `paced`: over a beat of breaths or pushes."""

    at_ms: int
    say: Say
    paced: bool


@dataclass(slots=True)
class BeatBegan:
    at_ms: int
    pace: Pace


@dataclass(slots=True)
class BeatEnded:
    at_ms: int
    pace: Pace
    began_ms: int
    cut: bool


Sound = Heard | BeatBegan | BeatEnded


class Scene:
    """`now`: ms since the start. `sounds` and `cues` are of the last `happen` alone."""

    __slots__ = ("_beat", "_ended", "_free_at", "_playing", "_queue", "cues", "machine", "now", "passed", "sounds")

    def __init__(self, machine: FlowMachine) -> None:
        self.machine = machine
        self.now = 0
        self.passed = 0  # things that happened by themselves in the last silence
        self.cues: list[Record] = []
        self.sounds: list[Sound] = []
        self._queue: tuple[Record, ...] = ()
        self._playing: tuple[int, Record] | None = None
        self._free_at = 0
        self._beat: tuple[int, int, Pace] | None = None  # began, ends, what
        self._ended: tuple[tuple[int, bool], ...] = ()

    def fork(self) -> "Scene":
        twin = object.__new__(Scene)
        twin.machine, twin.now, twin.cues, twin.sounds = self.machine.fork(), self.now, [], []
        twin._queue, twin._playing, twin._free_at = self._queue, self._playing, self._free_at
        twin._beat, twin._ended, twin.passed = self._beat, self._ended, 0
        return twin

    # ---- what happens

    def start(self) -> None:
        self.happen(Started(0))

    def happen(self, event: Record) -> None:
        """One event from outside, at `now`; a `Ticked` is so much time in which nothing happens."""
        self.cues, self.sounds = [], []
        if type(event) is Ticked:
            self.now = event.at_ms
            return
        self._feed(event)
        if self._ended:
            self._settle()

    def pass_time(self, until: int = NEVER) -> Record | None:
        """The next thing that happens by itself, if it does before `until`; returns the event it was."""
        self.cues, self.sounds = [], []
        at = self.next_ms()
        if at > until or at >= NEVER:
            self.now = max(self.now, min(until, at)) if until < NEVER else self.now
            return None
        self.now = at
        if self._playing is not None and self._playing[0] <= at:
            cue = self._playing[1]
            self._playing = None
            self._free_at = at + (SPEECH_GAP_MS if type(cue) is Say else TONE_GAP_MS)
            event: Record = PromptEnded(at, cue.cue)  # type: ignore[attr-defined]
        elif self._beat is not None and self._beat[1] <= at:
            event = PromptEnded(at, self._end_beat(cut=False))
            self._ended = self._ended[:-1]
        elif self._queue and self._playing is None and self._free_at <= at:
            self._begin()
            event = Ticked(at)
            return event
        else:
            event = Ticked(at)
        self._feed(event)
        if self._ended:
            self._settle()
        return event

    def next_ms(self) -> int:
        """When the next thing happens by itself; NEVER if nothing will."""
        at = self._playing[0] if self._playing is not None else (self._free_at if self._queue else NEVER)
        deadline = self.machine.next_deadline_ms()
        if deadline is not None and deadline < at:
            at = deadline
        if self._beat is not None and self._beat[1] < at:
            at = self._beat[1]
        return at if at > self.now else self.now

    @property
    def quiet(self) -> bool:
        """Nothing is being said or waits to be said."""
        return self._playing is None and not self._queue

    def has_to_say(self, cue: int | None) -> bool:
        """It is being said, or waits to be."""
        playing = self._playing
        return playing is not None and playing[1].cue == cue or any(waiting.cue == cue for waiting in self._queue)  # type: ignore[attr-defined]

    @property
    def beating(self) -> str:
        """What beat sounds now."""
        return self._beat[2].what if self._beat is not None else ""

    @property
    def voice(self) -> tuple[str, ...]:
        """What is being said and waits, in kinds alone: what matters of the loudspeaker."""
        playing = () if self._playing is None else (_kind(self._playing[1]),)
        return (*playing, *(_kind(cue) for cue in self._queue))

    # ---- the loudspeaker

    def _settle(self) -> None:
        """Reports the clips that were cut; they end at once."""
        at_rest, outstanding = False, self.machine._outstanding
        while self._ended:
            (cue, cut), self._ended = self._ended[0], self._ended[1:]
            if not outstanding.knows(cue):
                # Of a step left since: it says nothing to the machine, unless a deadline has passed meanwhile.
                at_rest = at_rest or self._at_rest()
                if at_rest:
                    self._begin()
                    continue
            self._feed(PromptEnded(self.now, cue, cut))
            at_rest, outstanding = False, self.machine._outstanding

    def _at_rest(self) -> bool:
        machine = self.machine
        if machine.closed:
            return False
        due = machine.next_deadline_ms()
        return due is None or due >= self.now

    def _feed(self, event: Record) -> None:
        cues = self.machine.feed(event)
        if cues:
            self.cues += cues
            for cue in cues:
                if type(cue) is Moved and cue.machine == "care":
                    self._make_way(type(event) in _SPOKEN)
                    break
            for cue in cues:
                kind = type(cue)
                if kind is Say or kind is Pace or kind is Tone:
                    self._queue = (*self._queue, cue)
                elif kind is PaceStopped:
                    self._end_beat(cut=True)
                    self._drop(lambda queued: type(queued) is Pace)
        if self._queue and self._playing is None and self.now >= self._free_at:
            self._begin()

    def _make_way(self, answered: bool) -> None:
        if answered and self._playing is not None:
            self._ended = (*self._ended, (self._playing[1].cue, True))  # type: ignore[attr-defined]
            self._playing, self._free_at = None, self.now
        self._drop(lambda cue: type(cue) is not Pace and (answered or (type(cue) is Say and cue.role in DROPPED_ON_A_MOVE)))

    def _drop(self, chosen) -> None:
        if not self._queue:
            return
        left = []
        for cue in self._queue:
            if chosen(cue):
                self._ended = (*self._ended, (cue.cue, True))
            else:
                left.append(cue)
        self._queue = tuple(left)

    def _begin(self) -> None:
        while self._queue and self._playing is None and self.now >= self._free_at:
            cue, self._queue = self._queue[0], self._queue[1:]
            if type(cue) is Pace:
                self._end_beat(cut=True)
                lasts = NEVER if cue.count is None else int(cue.count * 60_000 / cue.per_minute)
                self._beat = (self.now, min(NEVER, self.now + lasts), cue)
                self.sounds.append(BeatBegan(self.now, cue))
            elif type(cue) is Tone:
                self._playing = (self.now + TONE_MS, cue)
            elif type(cue) is Say:
                paced = self._beat is not None and self._beat[2].what != "suction"
                self.sounds.append(Heard(self.now, cue, paced))
                self._playing = (self.now + clip_ms(cue.text), cue)

    def _end_beat(self, cut: bool) -> int:
        if self._beat is None:
            return 0
        began, _, pace = self._beat
        self._beat = None
        self._ended = (*self._ended, (pace.cue, cut))
        self.sounds.append(BeatEnded(self.now, pace, began, cut))
        return pace.cue


def _kind(cue: Record) -> str:
    return cue.role if type(cue) is Say else cue.kind
