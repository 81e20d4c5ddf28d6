"""Plays a machine's cues as the loudspeaker would, keeps what was heard when, and answers as a caregiver would."""

import re
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache

import rfc8785

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
from prompter.flow.document import Flow
from prompter.flow.engine import Engine
from prompter.flow.machine import FlowMachine
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.resources import flow_file

GAP_MS, TONE_MS, NEVER = 120, 150, 1 << 60
DROPPED_ON_A_MOVE = {"care", "question", "helper", "notice", "echo"}
BREATH_WORDS = re.compile(r"^(bag on|breathe into|squeeze|two gentle|keep squeezing)|squeeze (with|when)|small mask|mask over", re.I)
"""Prompts that tell to breathe for somebody."""


def clip_ms(text: str) -> int:
    """How long the embedded voice takes: fitted over all texts of a plan (222 ms of spread)."""
    return int(313 + 42 * len(text) + 580 * len(re.findall(r"[.,:?]", text[:-1])))


@dataclass(frozen=True)
class Heard:
    """A prompt as it came out of the loudspeaker; `paced`: over a beat of breaths or pushes."""

    at_ms: int
    ends_ms: int
    text: str
    role: str
    step: str
    paced: bool


@dataclass
class Beaten:
    """A beat as it was heard, from and (None: still) to."""

    at_ms: int
    pace: Pace
    ends_ms: int | None = None

    def breaths(self, now: int) -> list[int]:
        """When each breath tone sounded."""
        if self.pace.what != "breaths":
            return []
        every = 60_000 / self.pace.per_minute
        end = min(self.ends_ms if self.ends_ms is not None else now, now)
        most = self.pace.count if self.pace.count is not None else 1 << 30
        found, index = [], 0
        while index < most and self.at_ms + index * every < end:
            found.append(int(self.at_ms + index * every))
            index += 1
        return found


class Drive:
    """One emergency in simulated time, ms. Every method that waits plays what is due meanwhile."""

    def __init__(self, table: Table, length: Callable[[str], int] = clip_ms) -> None:
        self.machine = FlowMachine(table, engine_for(table))
        self.length = length
        self.now = 0
        self.events: list[Record] = []
        self.cues: list[Record] = []
        self.heard: list[Heard] = []
        self.beats: list[Beaten] = []
        self._queue: deque[Record] = deque()
        self._ended: deque[PromptEnded] = deque()
        self._playing: tuple[int, Record] | None = None
        self._free_at = 0
        self._beat: Beaten | None = None

    # ---- what a caregiver does

    def start(self) -> "Drive":
        self.feed(Started(0))
        return self

    def says(self, *answers: str) -> "Drive":
        """Each after the open prompt has been heard and a short pause."""
        for answer in answers:
            self.settle().wait(0.4).feed(Answered(self.now, answer, answer))
        return self

    def blurts(self, answer: str) -> list[Record]:
        """At once, whatever is being said."""
        return self.feed(Answered(self.now, answer, answer))

    def number(self, value: int, quantity: str = "spo2") -> list[Record]:
        return self.feed(Numbered(self.now, quantity, value))

    def mumbles(self, answer: str | None = None, score: float | None = None) -> list[Record]:
        return self.feed(Unclear(self.now, answer, answer, score))

    def settle(self, most_s: float = 60) -> "Drive":
        """Until the step asks or waits, and all of that is said."""
        end = self.now + int(most_s * 1000)
        while not (self.machine.waits and self._playing is None and not self._queue):
            if self.now >= end or self.machine.closed:
                break
            self._advance(min(end, self._next()))
        return self

    def heard_to_end(self, text: str, most_s: float = 60) -> Heard:
        """Waits until this has been said; AssertionError if it is not."""
        end = self.now + int(most_s * 1000)
        while not (found := [h for h in self.heard if h.text == text and h.ends_ms <= self.now]):
            assert self.now < end, f"{text!r} is not said"
            self.wait(0.1)
        return found[-1]

    def wait(self, seconds: float) -> "Drive":
        self._until(self.now + int(seconds * 1000))
        return self

    def silent_until(self, step: str, most_s: float = 120) -> "Drive":
        """Says nothing until this step is reached; AssertionError if it is not."""
        end = self.now + int(most_s * 1000)
        while self.step != step:
            assert self.now < end, f"silence stays at {self.step!r} for {most_s} s, not to {step!r}"
            self._advance(min(end, self._next()))
        return self

    def silent_path(self, seconds: float) -> list[str]:
        """The steps that silence goes through, the present one first."""
        before = len(self.cues)
        path = [self.step]
        self.wait(seconds)
        return path + [c.target for c in self.cues[before:] if isinstance(c, Moved) and c.machine == "care"]

    def to(self, step: str, *ways: str) -> "Drive":
        """Says these answers, and then must come to stand at `step`."""
        self.says(*ways).settle()
        assert self.step == step, f"{ways} leads to {self.step!r}, not {step!r}"
        return self

    # ---- what can be asked

    @property
    def step(self) -> str:
        return self.machine.step

    @property
    def call(self) -> str:
        return self.machine.call.step

    def texts(self, since_ms: int = 0) -> list[str]:
        """What was begun to be said since then."""
        return [h.text for h in self.heard if h.at_ms >= since_ms]

    def emitted(self, text: str) -> list[int]:
        """When the machine asked for this text to be said."""
        return [c.at_ms for c in self.cues if isinstance(c, Say) and c.text == text]

    def asked(self) -> Heard:
        """The last prompt of care that was heard."""
        return next(h for h in reversed(self.heard) if h.role in ("care", "question"))

    def said(self, text: str, since_ms: int = 0) -> int | None:
        """When a text that has this in it was begun, first since then."""
        return next((h.at_ms for h in self.heard if h.at_ms >= since_ms and text.lower() in h.text.lower()), None)

    def breath_prompts(self) -> list[int]:
        """Every moment at which a word or tone told to breathe for the patient; pushes count as care going on."""
        found = [h.at_ms for h in self.heard if BREATH_WORDS.search(h.text) and not h.text.startswith("Stop")]
        for beat in self.beats:
            found += beat.breaths(self.now)
            if beat.pace.what == "pushes":
                found += range(beat.at_ms, beat.ends_ms if beat.ends_ms is not None else self.now, 1000)
        return sorted(found)

    def call_prompts(self) -> list[int]:
        """When the call was asked for or reminded of."""
        asks = re.compile(r"call on speaker|make the call|emergency call|find any phone", re.I)
        return [h.at_ms for h in self.heard if asks.search(h.text)]

    def moves(self, machine: str = "care") -> list[tuple[int, str, str]]:
        return [(c.at_ms, c.source, c.target) for c in self.cues if isinstance(c, Moved) and c.machine == machine]

    def steps(self) -> list[str]:
        return [target for _, _, target in self.moves()]

    # ---- the loudspeaker

    def feed(self, event: Record) -> list[Record]:
        self.events.append(event)
        cues = self.machine.feed(event)
        self.cues += cues
        if any(isinstance(c, Moved) and c.machine == "care" for c in cues):
            self._make_way(event)
        for cue in cues:
            if isinstance(cue, Say | Tone | Pace):
                self._queue.append(cue)
            elif isinstance(cue, PaceStopped):
                self._end_beat(cut=True)
                for queued in [q for q in self._queue if isinstance(q, Pace)]:
                    self._drop(queued)
        self._begin()
        return cues

    def _make_way(self, event: Record) -> None:
        answered = isinstance(event, Answered | Numbered | Unclear)
        if answered and self._playing is not None:
            _, cue = self._playing
            self._playing, self._free_at = None, self.now
            self._ended.append(PromptEnded(self.now, cue.cue, True))
        for cue in list(self._queue):
            if not isinstance(cue, Pace) and (answered or (isinstance(cue, Say) and cue.role in DROPPED_ON_A_MOVE)):
                self._drop(cue)

    def _drop(self, cue: Record) -> None:
        self._queue.remove(cue)
        self._ended.append(PromptEnded(self.now, cue.cue, True))

    def _begin(self) -> None:
        while self._queue and self._playing is None and self.now >= self._free_at:
            cue = self._queue.popleft()
            if isinstance(cue, Pace):
                self._end_beat(cut=True)
                self._beat = Beaten(self.now, cue)
                self.beats.append(self._beat)
            elif isinstance(cue, Tone):
                self._playing = (self.now + TONE_MS, cue)
            else:
                ends = self.now + self.length(cue.text)
                paced = self._beat is not None and self._beat.pace.what != "suction"
                self.heard.append(Heard(self.now, ends, cue.text, cue.role, cue.step, paced))
                self._playing = (ends, cue)

    def _beat_ends(self) -> int:
        if self._beat is None or self._beat.pace.count is None:
            return NEVER
        return self._beat.at_ms + int(self._beat.pace.count * 60_000 / self._beat.pace.per_minute)

    def _end_beat(self, cut: bool) -> None:
        if self._beat is not None:
            self._beat.ends_ms = self.now
            self._ended.append(PromptEnded(self.now, self._beat.pace.cue, cut))
            self._beat = None

    def _next(self) -> int:
        """When something happens next."""
        sound = self._playing[0] if self._playing else (max(self._free_at, self.now) if self._queue else NEVER)
        deadline = self.machine.next_deadline_ms()
        if self._ended:
            return self.now
        return max(self.now, min(sound, self._beat_ends(), NEVER if deadline is None else deadline))

    def _advance(self, to: int) -> None:
        """Lets one thing happen, or time pass to `to`."""
        if self._ended:
            event = self._ended.popleft()
            self.feed(PromptEnded(self.now, event.cue, event.cut))
            return
        at = self._next()
        if at > to:
            self.now = to
            return
        self.now = at
        if self._playing and self._playing[0] <= at:
            cue = self._playing[1]
            self._playing = None
            self._free_at = at + (GAP_MS if isinstance(cue, Say) else 40)
            self.feed(PromptEnded(at, cue.cue))
        elif self._beat_ends() <= at:
            self._end_beat(cut=False)
        elif self._queue and self._playing is None and self._free_at <= at:
            self._begin()
        else:
            self.feed(Ticked(at))

    def _until(self, end: int) -> None:
        while self._ended or self._next() <= end:
            self._advance(end)
        self.now = max(self.now, end)


def canonical(cues: list[Record]) -> list[bytes]:
    """Byte for byte what a journal would hold (RFC 8785)."""
    return [rfc8785.dumps(cue.to_record()) for cue in cues]


@cache
def the_flow() -> Flow:
    return load_flow(flow_file("breathing-trouble"))


@lru_cache(maxsize=16)
def _built(facts: frozenset[str], words: tuple[tuple[str, str], ...], numbers: tuple[tuple[str, float], ...]) -> Table:
    return build(the_flow(), Variant(facts, dict(words), dict(numbers)))


def table_for(variant: Variant) -> Table:
    """Built once for each variant; the tests change no table."""
    return _built(variant.facts, tuple(variant.words.items()), tuple(variant.numbers.items()))


@lru_cache(maxsize=16)
def _laid_out(table: "ById") -> Engine:
    return Engine(table.table)


@dataclass(frozen=True)
class ById:
    """A table is no key by itself: it is compared by being the same one."""

    table: Table

    def __hash__(self) -> int:
        return id(self.table)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ById) and self.table is other.table


def engine_for(table: Table) -> Engine:
    return _laid_out(ById(table))


def reach(variant: Variant, *answers: str) -> Drive:
    """An emergency in which these answers were given, each in reply to what was asked."""
    return Drive(table_for(variant)).start().says(*answers).settle()


def blurted(variant, *answers: str) -> Drive:
    """All at once, over whatever is being said."""
    drive = Drive(table_for(variant)).start()
    for answer in answers:
        drive.blurts(answer)
    return drive
