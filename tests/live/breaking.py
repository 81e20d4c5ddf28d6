"""A world in which everything breaks: scripted devices and a virtual clock around the real runner.

Real: the runner, the session, the flow, the mixer, the sound card's policy, loudspeaker, microphone
(both on a pretended sound library), endpointing and hearing, the journal on a real folder. Pretended:
time, the devices, the recogniser and its thread, the voice's engine. One thread; the same seed gives
the same sequence.
"""

import queue
import sys
import threading
import time as real_time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest import mock

import numpy as np

from prompter import limits
from prompter.hear.ear import Ranking
from prompter.hear.hearing import Hearing
from prompter.hear.scorer import InlineScorer, Result
from prompter.journal import BackgroundWriter, read
from prompter.journal.disk import FileDisk
from prompter.live import clock as clock_module
from prompter.live import journalling
from prompter.live import runner as runner_module
from prompter.live import soundcard as card_module
from prompter.live.clock import HeardAt, LiveClock
from prompter.live.own_echo import OwnEcho
from prompter.live.preparing import prepare
from prompter.live.screen import Screen
from prompter.session import Session, Timing
from prompter.speak import loudspeaker as loudspeaker_module
from prompter.speak.mixer import Mixer

STEP_S = 0.02
RATES_HZ = (8_000, 16_000, 44_100, 48_000)


class Time:
    """Stands for the module `time` and for `datetime.datetime`, in the modules that keep time."""

    CLOCK_BOOTTIME = "boottime"

    def __init__(self) -> None:
        self.now_s, self.asleep_s = 1_000.0, 0.0
        self.wall = datetime(2026, 3, 1, 4).astimezone()

    def monotonic(self) -> float:
        return self.now_s

    def clock_gettime(self, _which: str) -> float:
        return self.now_s + self.asleep_s

    def now(self) -> datetime:
        return self.wall

    def pass_(self, by_s: float) -> None:
        self.now_s += by_s
        self.wall += timedelta(seconds=by_s)


@dataclass
class Device:
    """One loudspeaker or microphone. `stalls`: it is there and gives or takes nothing."""

    name: str
    kind: str
    rate_hz: int = 48_000
    channels: int = 2
    default: bool = True
    there: bool = True
    stalls: bool = False
    xruns: int = 0


class PortAudioError(Exception):
    pass


class Stream:
    """An open stream of the pretended library."""

    def __init__(self, world: "World", device: Device, settings: dict[str, Any]) -> None:
        self.world, self.device, self.settings = world, device, settings
        self.rate_hz = round(settings["samplerate"])
        self.active, self.latency, self.done = False, 0.04, 0.0
        world.streams.append(self)

    def start(self) -> None:
        self.active = True

    def close(self, ignore_errors: bool = True) -> None:
        self.active = False
        if self in self.world.streams:
            self.world.streams.remove(self)

    def pass_(self, by_s: float) -> None:
        device = self.device
        if not self.active or device.stalls:
            return
        if not device.there:
            self.active = False
            if finished := self.settings.get("finished_callback"):
                finished()
            return
        self.done += by_s * self.rate_hz
        frames = int(self.done)
        self.done -= frames
        late, device.xruns = device.xruns > 0, max(0, device.xruns - 1)
        if device.kind == "output":
            out = np.zeros((frames, self.settings["channels"]), np.float32)
            self.settings["callback"](out, frames, None, SimpleNamespace(output_underflow=late))
            assert np.isfinite(out).all() and np.abs(out).max(initial=0) <= 1
        else:
            sound = self.world.room(frames, self.rate_hz)[:, np.newaxis]
            self.settings["callback"](sound, frames, None, SimpleNamespace(input_overflow=late))


class Library:
    """Stands for sounddevice. Like PortAudio it knows only the devices it saw when it was begun."""

    PortAudioError = PortAudioError

    def __init__(self, world: "World") -> None:
        self.world = world
        self._initialize()

    def _terminate(self) -> None:
        for stream in list(self.world.streams):
            stream.close()

    def _initialize(self) -> None:
        self.known = [device for device in self.world.devices if device.there]

    def _find(self, name: str | int | None, kind: str) -> Device:
        fits = [d for d in self.known if d.kind == kind]
        if isinstance(name, int):
            fits = [d for n, d in enumerate(self.known) if n == name and d.kind == kind]
        elif name is None:
            fits = [d for d in fits if d.default]
        else:
            fits = [d for d in fits if name in d.name]
        if not fits:
            raise PortAudioError(f"Error querying device {name}")
        return fits[0]

    def query_devices(self, name: str | int | None = None, kind: str | None = None) -> Any:
        if kind is None:
            return [self._row(device) for device in self.known]
        return self._row(self._find(name, kind))

    @staticmethod
    def _row(device: Device) -> dict[str, Any]:
        channels = {f"max_{kind}_channels": device.channels * (kind == device.kind) for kind in ("input", "output")}
        return {"name": device.name, "default_samplerate": float(device.rate_hz), **channels}

    def check_input_settings(self, device: Any, channels: int, samplerate: int) -> None:
        if samplerate != self._find(device, "input").rate_hz:
            raise PortAudioError("Invalid sample rate")

    def _open(self, kind: str, settings: dict[str, Any]) -> Stream:
        device = self._find(settings["device"], kind)
        if not device.there:
            raise PortAudioError("Device unavailable")
        if round(settings["samplerate"]) != device.rate_hz:
            raise PortAudioError("Invalid sample rate")
        if settings["channels"] > device.channels:
            raise PortAudioError("Invalid number of channels")
        return Stream(self.world, device, settings)

    def OutputStream(self, **settings: Any) -> Stream:  # noqa: N802 - the library's name
        return self._open("output", settings)

    def InputStream(self, **settings: Any) -> Stream:  # noqa: N802
        return self._open("input", settings)


class Waiting(queue.Queue):  # type: ignore[type-arg]
    """A queue in which waiting lets the world go on."""

    def __init__(self, world: "World", size: int = 0) -> None:
        super().__init__(size)
        self._world = world

    def get(self, block: bool = True, timeout: float | None = None) -> Any:
        left_s = timeout or 0.0
        while block and self.empty() and left_s > 1e-9:
            self._world.pass_(min(STEP_S, left_s))
            left_s -= STEP_S
        return super().get(block=False)


class Card(card_module.SoundCard):
    """The real policy, let look by the world instead of a thread."""

    world: "World"

    def _start(self) -> None:
        self.look_for_rate()

    def _microphone(self, name: str | int | None) -> Any:
        device = super()._microphone(name)
        waiting = Waiting(self.world, limits.MICROPHONE_QUEUE_BLOCKS)
        device._queue = waiting
        return device


class Ear:
    """A recogniser that does as the world says: names the first phrase, raises or hangs."""

    name = "scripted"

    def __init__(self, world: "World") -> None:
        self._world = world

    def prepare(self, phrases: Any) -> None: ...

    def score(self, sound: np.ndarray, phrases: Any, asks_number: bool = False) -> Ranking:
        if self._world.ear == "raises":
            raise RuntimeError("the recogniser broke")
        ranked = [(phrase, -5.0) for phrase in phrases if phrase.answer]
        return Ranking(self.name, ranked, text="mm", window=400)


class Scorer(InlineScorer):
    """Work that hangs is given up after as long as the live scorer gives it."""

    def __init__(self, world: "World") -> None:
        super().__init__(100)
        self._world, self._hanging = world, []  # type: ignore[var-annotated]

    def submit(self, ticket: int, work: Callable[[], Any], at_ms: int) -> None:
        if self._world.ear == "hangs":
            self._hanging.append((ticket, self._world.time.now_s))
        else:
            super().submit(ticket, work, at_ms)

    def hung(self) -> int | None:
        for ticket, since_s in self._hanging:
            if self._world.time.now_s - since_s > limits.EAR_HANGS_S:
                self._hanging.remove((ticket, since_s))
                self._trouble.append("an ear hangs and is dropped")
                return int(ticket)
        return None

    def drop(self, ticket: int) -> None:
        self._hanging = [one for one in self._hanging if one[0] != ticket]
        super().drop(ticket)

    def results(self, at_ms: int) -> list[Result]:
        return super().results(at_ms)


class StandIn(loudspeaker_module.NullLoudspeaker):
    """Draws the mixer when the world's time passes."""

    world: "World"

    def start(self) -> None:
        self._running, self._done = True, 0.0
        self.world.stand_ins.append(self)

    def stop(self) -> None:
        self._running = False
        if self in self.world.stand_ins:
            self.world.stand_ins.remove(self)

    def failed(self) -> str | None:
        return None if self._running else "the stand-in is not running"

    def pass_(self, by_s: float) -> None:
        self._done += by_s * self._mixer.rate_hz
        frames = int(self._done)
        self._done -= frames
        block = self._mixer.render(frames)
        if self._tap:
            self._tap(block)


@dataclass
class Fault:
    """At `at_s` (of the sequence) `what` happens for `lasts_s`."""

    at_s: float
    lasts_s: float
    what: str
    part: str = ""
    detail: Any = None

    @property
    def over_s(self) -> float:
        return self.at_s + self.lasts_s


@dataclass
class World:
    """Everything around the runner. Make it inside `broken_world`."""

    folder: Path
    random: np.random.Generator
    plan: Path | None
    clip: Callable[[str], np.ndarray | None]
    speech: np.ndarray
    devices: list[Device]
    time: Time = field(default_factory=Time)
    streams: list[Stream] = field(default_factory=list)
    stand_ins: list[StandIn] = field(default_factory=list)
    ear: str = "works"
    voice_dead: bool = False
    disk_gone: bool = False
    silent_s: float = 0.0

    def begin(self) -> None:
        """Wires a runner as `Emergency` does, and lets it say its first prompt."""
        self.began_s = self.time.now_s
        self.agenda: list[tuple[float, Callable[[], None]]] = []
        self.loads = 0
        self.heard_from = np.zeros(0, np.float32)
        Card.world = StandIn.world = self  # type: ignore[misc]
        self.inbox: Waiting = Waiting(self)
        self.clock = LiveClock()
        heard_at, own_echo = HeardAt(self.clock), OwnEcho()

        def tap(block: np.ndarray) -> None:
            heard_at.tap(block)
            own_echo.played(block, self.clock.now_ms() + round(heard_at.latency_ms))

        self.card = Card(self.inbox.put, tap, None, None, True)
        prepared = prepare(self.plan)
        self.table = prepared.table
        self.mixer = Mixer(self.card.rate_hz(0), lambda text: None if self.voice_dead else self.clip(text))
        heard_at.counts_for(self.mixer.rate_hz)
        own_echo.counts_for(self.mixer.rate_hz)
        self.card.play(self.mixer)
        self.journal = journalling.LiveJournal(
            [self.folder], self.clock.began, lambda: {"kind": "opened", "flow": "", "plan": None},
            lambda text: self.inbox.put(("disk", text)),
        )  # fmt: skip
        session = Session(self.table, self.mixer, Timing(self.clock.began, heard_at.sound_ms), self.journal, watchers=(self,))
        self.screen = Screen(self.inbox.put)
        self.records: list[dict[str, Any]] = []
        self.runner: Any = None
        self.runner = runner_module.Runner(
            session, self.clock, heard_at, own_echo, self.inbox, self.card, self.screen,  # type: ignore[arg-type]
            listens=True, plan_state="", load_ears=self.load_ears,
        )  # fmt: skip
        self.journal.begin()
        self.next_look_s = self.time.now_s
        self.look()
        self.load_ears()
        self.runner._ensure_output()
        self.runner._begin()

    # ---- a `Watcher` of the session ----------------------------------------------------------------

    def feeding(self, event: Any) -> None: ...
    def fed(self, event: Any, cues: list[Any]) -> None: ...

    def saw(self, record: dict[str, Any]) -> None:
        self.records.append({**record, "world_s": self.passed_s})
        if self.runner is not None:
            self.runner.saw(record)

    # ---- time --------------------------------------------------------------------------------------

    @property
    def passed_s(self) -> float:
        return self.time.now_s - self.began_s

    def pass_(self, by_s: float) -> None:
        self.time.pass_(by_s)
        while self.agenda and self.agenda[0][0] <= self.passed_s:
            self.agenda.pop(0)[1]()
        for part in [*self.streams, *self.stand_ins]:
            part.pass_(by_s)
        self.look()

    def at(self, in_s: float, what: Callable[[], None]) -> None:
        self.agenda.append((self.passed_s + in_s, what))
        self.agenda.sort(key=lambda one: one[0])

    def look(self) -> None:
        """What the sound card's own thread does."""
        if self.card._at_once or self.time.now_s >= self.next_look_s:
            self.next_look_s = self.time.now_s + limits.SOUND_CARD_RETRY_S
            self.card.look()

    def load_ears(self) -> None:
        self.loads += 1

        def loaded() -> None:
            if self.ear == "missing":
                self.inbox.put(("no ear", "the recogniser's files are gone"))
            else:
                self.inbox.put(("ear", Hearing([Ear(self)], Scorer(self))))

        self.at(2.0, loaded)

    def room(self, frames: int, rate_hz: int) -> np.ndarray:
        """What the microphone hears: a quiet room, and what somebody says."""
        wanted = round(frames * limits.SAMPLE_RATE_HZ / rate_hz)
        part, self.heard_from = self.heard_from[:wanted], self.heard_from[wanted:]
        sound = np.zeros(frames, np.float32)
        if len(part) > 1:
            sound += np.interp(np.linspace(0, len(part) - 1, frames), np.arange(len(part)), part).astype(np.float32)
        return sound

    def speak(self) -> None:
        self.heard_from = self.speech.copy()

    def output_device(self) -> Device | None:
        """The loudspeaker that really sounds now."""
        for stream in self.streams:
            if stream.device.kind == "output" and stream.active and stream.device.there and not stream.device.stalls:
                return stream.device
        return None

    def end(self) -> list[dict[str, Any]]:
        """Closes in order; the journal's events. Raises AssertionError if it is not whole."""
        self.runner.session.end(self.clock.now_ms(), "the sequence is over")
        self.card.close()
        assert self.journal.close() == 0, "events did not reach the disk"
        assert self.journal.path is not None
        found = read(self.journal.path)
        assert found.intact, "the journal is damaged"
        return found.events


@contextmanager
def broken_world(world: World) -> Iterator[World]:
    """Puts the pretended time and devices where the real ones are."""
    append = FileDisk.append

    def failing(self: FileDisk, data: bytes) -> None:
        if world.disk_gone:
            raise OSError(5, "the disk is gone")
        append(self, data)

    with ExitStack() as stack:
        put = lambda *where: stack.enter_context(mock.patch.object(*where))  # noqa: E731
        stack.enter_context(mock.patch.dict(sys.modules, {"sounddevice": Library(world)}))
        for module in (runner_module, clock_module, loudspeaker_module, card_module):
            put(module, "time", world.time)
        put(clock_module, "datetime", world.time)
        put(runner_module, "NullLoudspeaker", StandIn)
        put(card_module, "_looked", True)
        put(journalling, "BackgroundWriter", partial(BackgroundWriter, retry_s=0.005))
        put(FileDisk, "append", failing)
        yield world


def wait_for_disk(world: World) -> None:
    """The writer's thread has real time: lets it find that the disk is back."""
    end = real_time.monotonic() + 5
    while world.journal.trouble() and real_time.monotonic() < end:
        real_time.sleep(0.002)


def wait_until_written(world: World, most_s: float = 600.0) -> None:
    """Hours of events come in minutes of real time: lets the disk have them all."""
    end = real_time.monotonic() + most_s
    while world.journal.waiting() and real_time.monotonic() < end:
        real_time.sleep(0.002)


def no_threads_left(before: int) -> bool:
    end = real_time.monotonic() + 5
    while threading.active_count() > before and real_time.monotonic() < end:
        real_time.sleep(0.01)
    return threading.active_count() <= before
