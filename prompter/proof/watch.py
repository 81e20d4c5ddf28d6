"""What an onlooker knows of an emergency: what was heard and when, kept apart from what the machine believes."""

import re
from collections import defaultdict
from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass, field
from functools import cache

from prompter.events import Answered, Learned, Moved, Record, Refused, Say
from prompter.flow.memory import Memory
from prompter.proof.scene import BeatBegan, BeatEnded, Heard, Scene

BREATH_WORDS = re.compile(
    r"^(bag on|breathe into|squeeze|two gentle|keep squeezing)|squeeze (with|when)|small mask|mask over|mask tighter", re.IGNORECASE
)
"""Prompts that tell to breathe for somebody."""
GOES_ON_WORDS = "Keep squeezing."
"""Where no beat comes with it, it begins no breaths."""
CHANGE_WORDS = re.compile(r"roll under|hold the tube still|tube in your hand|pull (the|it|out)|small mask|mask over|call now|oxygen on (face|the neck)|new tube in|push the chest", re.IGNORECASE)
"""Prompts of a tube change, another route, or more than that."""
CALL_WORDS = re.compile(r"call on speaker|make the call|emergency call|find any phone|call now", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Text:
    """What a text asks for: breaths, a tube change or more, the call."""

    breath: bool
    change: bool
    call: bool


@cache
def text_of(text: str) -> Text:
    """Worked out once for each text."""
    return Text(bool(BREATH_WORDS.search(text)), bool(CHANGE_WORDS.search(text)), bool(CALL_WORDS.search(text)))


@dataclass(slots=True)
class Watch:
    """Times in ms. `since`: what is waited for, and from when."""

    last_breath: int | None = None
    breathing_now: bool = False  # a beat of breaths or pushes sounds
    reason: bool = False
    guide_in: bool = False
    test_breaths: int = 0
    tubes: int = 0
    out_since: int | None = None
    swelling: bool = False
    cuff_empty: bool = False
    beat_began: int | None = None
    spoken_at: int | None = None  # when somebody last said something
    route_flat: int = 0  # times in a row the chest stayed flat by this route
    wont_pass: int = 0
    insertions: int = 0
    inner_out: bool = False
    inner_was_out: bool = False  # at some time
    inner_may_be_out: bool = False  # "that was wrong" may have taken its going in back
    errands: frozenset[str] = frozenset()  # asked for already
    changing_at: int | None = None  # when a tube was last being changed
    since: dict[str, int] = field(default_factory=dict)

    def copy(self) -> "Watch":
        twin = object.__new__(Watch)  # a constructor takes twice as long
        twin.last_breath, twin.breathing_now, twin.reason, twin.guide_in = self.last_breath, self.breathing_now, self.reason, self.guide_in
        twin.test_breaths, twin.tubes, twin.out_since, twin.swelling = self.test_breaths, self.tubes, self.out_since, self.swelling
        twin.cuff_empty, twin.beat_began, twin.spoken_at, twin.route_flat = self.cuff_empty, self.beat_began, self.spoken_at, self.route_flat
        twin.wont_pass, twin.insertions, twin.errands = self.wont_pass, self.insertions, self.errands
        twin.inner_out, twin.inner_was_out, twin.inner_may_be_out = self.inner_out, self.inner_was_out, self.inner_may_be_out
        twin.changing_at, twin.since = self.changing_at, self.since.copy()
        return twin


_NOTHING: tuple[()] = ()


class Stood:
    """How it stood before a move, as far as it is asked for."""

    __slots__ = ("known", "marks", "pending")

    def __init__(self, memory: Memory) -> None:
        self.known, self.marks, self.pending = memory.known.copy(), memory.marks.copy(), memory.pending


class Edge:
    """One move: the event (None: time passed), how it stood before, and what came of it.

    `moves`, `learned`, `says`: cues of care, in order; `heard`: clips as they began to sound.
    """

    __slots__ = ("answer", "before_known", "before_marks", "confirmed", "event", "facts", "heard", "learned", "moves", "refused", "says", "scene", "source")

    def __init__(self, event: Record | None, source: str, before: Memory | Stood, scene: Scene, facts: Container[str]) -> None:
        self.event, self.source, self.scene, self.facts = event, source, scene, facts
        self.answer = event.answer if type(event) is Answered else ""
        self.refused = False
        self.before_known, self.before_marks = before.known, before.marks
        self.confirmed = before.pending is not None and before.pending == getattr(event, "answer", None)
        self.moves: Sequence[Moved] = _NOTHING
        self.learned: Sequence[Learned] = _NOTHING
        self.says: Sequence[Say] = _NOTHING
        self.heard: Sequence[Heard] = [sound for sound in scene.sounds if type(sound) is Heard] if scene.sounds else _NOTHING
        if scene.cues:
            self._sort(scene.cues)

    def _sort(self, cues: list[Record]) -> None:
        self.moves, self.learned, self.says = moves, learned, says = [], [], []  # type: ignore[var-annotated]
        for cue in cues:
            kind = type(cue)
            if kind is Say:
                says.append(cue)
            elif kind is Learned:
                learned.append(cue)
            elif kind is Moved and cue.machine == "care":
                moves.append(cue)
            elif kind is Refused:
                self.refused = True


Detail = str | Callable[[], str]
"""What failed, in words; what is looked at with every move words it only then."""


class Findings:
    """Worst measures and failures, by property."""

    def __init__(self) -> None:
        self.worst: dict[str, float] = {}  # by property
        self.failed: dict[str, str] = {}
        self.looked: defaultdict[str, int] = defaultdict(int)

    def measure(self, name: str, value: float, limit: float, detail: Detail = "") -> None:
        self.looked[name] += 1
        if value > self.worst.get(name, -1):
            self.worst[name] = value
        if value > limit:
            self.fail(name, _worded(detail) or f"{value:g} > {limit:g}")

    def check(self, name: str, holds: bool, detail: Detail = "") -> None:
        self.looked[name] += 1
        if not holds:
            self.fail(name, _worded(detail))

    def fail(self, name: str, detail: str) -> None:
        self.failed.setdefault(name, detail)


def _worded(detail: Detail) -> str:
    return detail if isinstance(detail, str) else detail()


def follow(watch: Watch, edge: Edge) -> None:
    """Brings the onlooker up to date, after the properties have looked."""
    scene = edge.scene
    if edge.event is not None:
        watch.spoken_at = scene.now
    if edge.answer == "wrong":
        watch.swelling = watch.guide_in = watch.cuff_empty = watch.inner_out = False
        watch.test_breaths = watch.wont_pass = 0
    ended: BeatEnded | None = None
    for sound in scene.sounds:
        if type(sound) is Heard:
            _heard(watch, sound, scene.machine.table.stands[sound.say.step].beat)
        elif type(sound) is BeatBegan:
            watch.breathing_now = sound.pace.what in ("breaths", "pushes")
            if watch.breathing_now:
                # One beat put in the place of another: who squeezes goes on squeezing.
                goes_on = ended is not None and ended.at_ms == sound.at_ms
                watch.beat_began = ended.began_ms if ended is not None and goes_on else sound.at_ms
                watch.last_breath = sound.at_ms
            else:
                watch.beat_began = None
        elif type(sound) is BeatEnded:
            if sound.pace.what in ("breaths", "pushes"):
                watch.last_breath = max(watch.last_breath or 0, _last_tone(sound))
                ended = sound
            watch.breathing_now, watch.beat_began = False, None
    if watch.breathing_now:
        watch.last_breath = scene.now
    if scene.machine.outcome != "open":
        watch.out_since = watch.last_breath = None  # the next bout of trouble begins anew
        watch.since.clear()
    for cue in scene.cues if edge.learned or edge.says else ():
        if type(cue) is Learned:
            _learned(watch, cue)
        elif type(cue) is Say and cue.text[:4] in _ASKED_FOR:
            _asked_for(watch, cue.text)


_ASKED_FOR = frozenset({"Pull", "Empt", "Fill"})


def _asked_for(watch: Watch, text: str) -> None:
    if text.startswith("Pull the guide out"):
        watch.guide_in = False  # asked for: a caregiver may say "done" before it has been heard
    elif text.startswith("Empty the cuff"):
        watch.cuff_empty = True
    elif text.startswith("Fill the cuff"):
        watch.cuff_empty = False


def _heard(watch: Watch, sound: Heard, beat: str) -> None:
    text = sound.say.text
    asks = text_of(text)
    if asks.breath and not text.startswith("Stop") and (watch.last_breath is not None or beat == "breaths" or text != GOES_ON_WORDS):
        watch.last_breath = sound.at_ms
        watch.since.pop("no breaths", None)


def _last_tone(sound: BeatEnded) -> int:
    if sound.pace.what == "pushes":
        return sound.at_ms
    every = 60_000 / sound.pace.per_minute
    return int(sound.began_ms + every * max(0, (sound.at_ms - sound.began_ms - 1) // every))


def _learned(watch: Watch, cue: Learned) -> None:
    if (cue.what, cue.value) == ("tube", "out"):
        watch.out_since, watch.guide_in, watch.swelling, watch.test_breaths = cue.at_ms, False, False, 0
        watch.cuff_empty = False
    elif (cue.what, cue.value) == ("tube", "proven open"):
        watch.reason, watch.guide_in, watch.test_breaths = False, False, 0  # and it was out until a breath is given
    elif cue.what == "changed":
        watch.guide_in, watch.cuff_empty, watch.test_breaths = True, True, 0  # a new tube's cuff is empty
        watch.inner_out = watch.inner_was_out = True
    elif cue.what == "tries":
        watch.tubes = int(cue.value)
    elif cue.what == "swelling":
        watch.swelling = True
    if cue.what == "breathing" and cue.value == "better":
        watch.since.clear()
        watch.last_breath = watch.out_since = None
