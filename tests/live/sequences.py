"""Random sequences of faults against the real runner, and what must hold of each.

What is checked, of the journal and of the pretended devices:
- nothing raises, and the mixer never fails; every event reaches the disk, and the chain is whole;
- each loss is journalled, announced where that can be heard, and over once the thing is back;
- a beat that runs is drawn on, beat after beat, none left out; in time while its loudspeaker stays
  (while the whole program stands still nothing of it can sound: of such time the beat owes nothing,
  but it must be there at once after);
- while a loudspeaker is there, it is the one that sounds, after the time that finding out takes.
"""

import importlib.util
import sys
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import soxr

from prompter import limits
from prompter.live import notices
from prompter.speak.voice import EspeakVoice


def _beside(name: str) -> ModuleType:
    full = f"live_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, Path(__file__).with_name(f"{name}.py"))
        assert spec is not None and spec.loader is not None
        sys.modules[full] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[full])
    return sys.modules[full]


breaking = _beside("breaking")
Device, Fault, World = breaking.Device, breaking.Fault, breaking.World

LONG_S, LAST_FAULT_S = 170.0, 90.0
HEALED_S = 60.0
"""A returned device is found within this: the search for a microphone is slow while breaths are paced."""

FOUND_S = 6.5
"""So long a loudspeaker may be silent at a loss that leaves another: one that takes no sound is
noticed after `OUTPUT_STALL_S`, a look takes place at once, and again after `SOUND_CARD_RETRY_S`."""

WHATS = (
    "loudspeaker unplugged", "loudspeaker stalls", "microphone unplugged", "microphone stalls", "xruns",
    "no default", "ear hangs", "ear raises", "ear missing", "voice dead", "screen gone", "disk gone",
    "asleep", "held up", "clock set",
)  # fmt: skip


@lru_cache(maxsize=400)
def clip(text: str) -> np.ndarray:
    """As long as the words take; its sound does not matter here."""
    length = round(0.35 * limits.MIX_RATE_HZ * max(1, len(text.split())))
    return (0.2 * np.sin(np.arange(length) * 0.07)).astype(np.float32)


@lru_cache(maxsize=1)
def speech() -> np.ndarray:
    """Somebody says something (float32 mono 16 kHz)."""
    said = EspeakVoice("en-gb+f2", 150).render("still struggling over here")
    return np.asarray(soxr.resample(0.5 * said, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ), np.float32)


def draw_faults(random: np.random.Generator) -> list[Any]:
    """3 to 8 faults; those of one part do not overlap."""
    faults: list[Any] = []
    free_at: dict[str, float] = {}
    for what in random.choice(WHATS, size=int(random.integers(3, 9))):
        part = str(what).split()[0]
        part = {"no": "loudspeaker", "asleep": "time", "held": "time", "clock": "time"}.get(part, part)
        at_s = float(random.uniform(8, LAST_FAULT_S))
        lasts_s = float(random.uniform(3, 25))
        if at_s < free_at.get(part, 0.0) or (part == "screen" and "screen" in free_at):
            continue
        free_at[part] = at_s + lasts_s + HEALED_S / 4
        faults.append(Fault(at_s, lasts_s, str(what), part))
    return sorted(faults, key=lambda fault: fault.at_s)


class Sequence:
    """One sequence. `run` gives its figures; raises AssertionError with the seed's story otherwise."""

    def __init__(self, seed: int, folder: Path, plan: Path, faults: list[Any] | None = None) -> None:
        self.random = np.random.default_rng([seed, 11])
        rates = breaking.RATES_HZ
        two = bool(self.random.random() < 0.5)

        def device(name: str, kind: str, default: bool = True) -> Any:
            channels = int(self.random.integers(1, 3))
            return Device(name, kind, int(self.random.choice(rates)), channels, default)

        self.speakers = [device("speaker", "output"), *([device("other speaker", "output", False)] if two else [])]
        self.microphone = device("microphone", "input")
        devices = [*self.speakers, self.microphone]
        self.world = World(folder, self.random, plan, clip, speech(), devices)
        self.faults = draw_faults(self.random) if faults is None else faults
        self.seed = seed
        self.silent: list[tuple[float, float]] = []
        self._stood: list[tuple[float, float]] = []  # the whole program, in s
        self._quiet_since: float | None = None

    def run(self) -> dict[str, Any]:
        with breaking.broken_world(self.world) as world:
            world.begin()
            for fault in self.faults:
                world.at(fault.at_s, lambda fault=fault: self._begin(fault))
                world.at(fault.over_s, lambda fault=fault: self._end(fault))
            next_key_s = 4.0
            while world.passed_s < LONG_S and not world.runner.over:
                world.runner.turn()
                self._look_who_sounds()
                if world.passed_s >= next_key_s:
                    next_key_s = world.passed_s + float(self.random.uniform(2, 9))
                    self._caregiver()
            lost = dict(world.runner._lost)
            events = world.end()
        self._check(events, lost)
        beats = [e for e in events if e["kind"] == "beat"]
        return {
            "seed": self.seed, "faults": [f"{fault.what} at {fault.at_s:.0f} s" for fault in self.faults],
            "beats": len(beats), "events": len(events),
            "longest_silent_s": round(max((b - a for a, b in self.silent), default=0.0), 2),
        }  # fmt: skip

    def _caregiver(self) -> None:
        world = self.world
        choice = self.random.random()
        keys = [key for key, _, _ in world.runner.session.view().own_keys]
        if choice < 0.5 and keys:
            world.inbox.put(("key", str(self.random.choice(keys))))
        elif choice < 0.75:
            world.speak()

    # ---- faults --------------------------------------------------------------------------------------

    def _begin(self, fault: Any) -> None:
        world, what = self.world, fault.what
        speaker = self.speakers[0]
        if what in ("loudspeaker unplugged", "no default"):
            speaker.there = what == "no default"
            speaker.default = False
            if what == "no default":  # the one in use ends, and nothing stands in its place by itself
                for stream in [s for s in world.streams if s.device is speaker]:
                    stream.active = False
        elif what == "loudspeaker stalls":
            speaker.stalls = True
        elif what == "microphone unplugged":
            self.microphone.there = False
        elif what == "microphone stalls":
            self.microphone.stalls = True
        elif what == "xruns":
            for device in world.devices:
                device.xruns = int(self.random.integers(1, 30))
        elif what.startswith("ear"):
            world.ear = what.split()[1] if what != "ear missing" else "raises"
            if what == "ear missing":
                world.at(1.0, lambda: setattr(world, "ear", "missing"))
            world.speak()
        elif what == "voice dead":
            world.voice_dead = True
        elif what == "screen gone":
            world.inbox.put(("screen gone", "the terminal was closed"))
        elif what == "disk gone":
            world.disk_gone = True
        elif what == "asleep":  # the system's clock stands still, the wall's does not
            world.time.asleep_s += 10 * fault.lasts_s
            world.time.wall += breaking.timedelta(seconds=10 * fault.lasts_s)
        elif what == "held up":  # the system's clock goes on, the program does not
            stands_s = 5.1 + fault.lasts_s
            self._stood.append((world.passed_s, world.passed_s + stands_s))
            world.time.pass_(stands_s)
        elif what == "clock set":
            world.time.wall += breaking.timedelta(hours=float(self.random.choice((-1, 1))))

    def _end(self, fault: Any) -> None:
        world, what = self.world, fault.what
        speaker, random = self.speakers[0], self.random
        if what in ("loudspeaker unplugged", "no default"):
            speaker.there = speaker.default = True
            self._changed(speaker, random)
        elif what == "loudspeaker stalls":
            speaker.stalls = False
        elif what == "microphone unplugged":
            self.microphone.there = True
            self._changed(self.microphone, random)
        elif what == "microphone stalls":
            self.microphone.stalls = False
        elif what.startswith("ear"):
            world.ear = "works"
        elif what == "voice dead":
            world.voice_dead = False
        elif what == "disk gone":
            world.disk_gone = False
            breaking.wait_for_disk(world)

    @staticmethod
    def _changed(device: Any, random: np.random.Generator) -> None:
        """It comes back, perhaps under another name, at another rate, mono or stereo."""
        if random.random() < 0.5:
            device.name += " (2)"
        device.rate_hz = int(random.choice(breaking.RATES_HZ))
        device.channels = int(random.integers(1, 3))

    # ---- what must hold --------------------------------------------------------------------------------

    def _look_who_sounds(self) -> None:
        world = self.world
        remains = any(d.there and not d.stalls for d in self.speakers)
        now_s = world.passed_s
        if world.output_device() is None and remains:
            self._quiet_since = now_s if self._quiet_since is None else self._quiet_since
        elif self._quiet_since is not None:
            self.silent.append((self._quiet_since, now_s))
            self._quiet_since = None

    def _check(self, events: list[dict[str, Any]], lost: dict[str, str]) -> None:
        story = f"seed {self.seed}: {[(round(f.at_s), round(f.lasts_s), f.what) for f in self.faults]}"
        kinds = [e["kind"] for e in events]
        assert self.world.mixer.errors == 0, f"the mixer failed; {story}"
        left = set(lost) - {"screen", "keys"}
        assert not left, f"not healed: {lost}; {story}"
        self._check_journalled(events, story)
        self._check_beats(events, story)
        assert "started" in kinds, story

    def _check_journalled(self, events: list[dict[str, Any]], story: str) -> None:
        failed = [e["part"] for e in events if e["kind"] == "failed"]
        back = [e["part"] for e in events if e["kind"] == "recovered"]
        said = [e["text"] for e in events if e["kind"] == "announced"]
        over_s = self.world.passed_s
        unseen = [f for f in self.faults if f.what != "held up" and any(a <= f.at_s and f.over_s <= b for a, b in self._stood)]
        for fault in (f for f in self.faults if f.at_s + 8 < over_s and f not in unseen):  # over while the program stood still
            what, part = fault.what, fault.part
            if what in ("microphone unplugged", "microphone stalls", "screen gone") and (what[-6:] != "stalls" or fault.lasts_s > 3.5):
                assert part in failed, f"{what} is not journalled; {story}"
            if what == "loudspeaker unplugged" or (what == "loudspeaker stalls" and fault.lasts_s > 4.5):
                assert "loudspeaker" in failed, f"{what} is not journalled; {story}"
            if what in ("asleep", "held up"):
                assert any(e["kind"] == "resumed" for e in events), f"{what}: no word of it; {story}"
            if what == "asleep":  # told with its length; session and wall clock went on together, so neither was set
                told = [e["gap_ms"] for e in events if e["kind"] == "resumed"]
                assert any(0 <= gap_ms - 10_000 * fault.lasts_s <= 2_000 for gap_ms in told), f"{what}: not told as long as it was; {story}"
            if what == "clock set":
                assert any(e["kind"] == "clock changed" for e in events), f"{what}: not journalled; {story}"
        for part in {"microphone", "ear", "disk"} & set(failed):
            assert notices.LOST[part] in said, f"{part} is not announced; {story}"
        for part in {"microphone", "loudspeaker", "ear", "disk"} & set(failed):
            assert part in back, f"{part} has not come back; {story}"

    def _check_beats(self, events: list[dict[str, Any]], story: str) -> None:
        """A row of beats has no hole: it ends in order, or goes on where it was."""
        shaken = [(self._session_s(f.at_s - 0.1), self._session_s(f.over_s + HEALED_S)) for f in self.faults if f.part in ("loudspeaker", "time", "microphone")]
        paces = {e["cue"]: e for e in events if e["kind"] == "pace"}
        last: dict[int, dict[str, Any]] = {}
        for beat in (e for e in events if e["kind"] == "beat"):
            before, pace = last.get(beat["cue"]), paces[beat["cue"]]
            last[beat["cue"]] = beat
            if before is None or pace["pushes_a_cycle"]:
                continue
            assert beat["index"] == before["index"] + 1, f"a beat was left out; {story}"
            gap_ms = beat["sound_ms"] - before["sound_ms"] - self._stood_ms(before["sound_ms"], beat["sound_ms"])
            period_ms = 60_000 / pace["per_minute"]
            calm = not any(a <= beat["sound_ms"] / 1000 <= b for a, b in shaken)
            slack_ms = 45 if calm else 1_000 * FOUND_S
            assert abs(gap_ms - period_ms) <= slack_ms, f"a beat after {gap_ms} ms instead of {period_ms:.0f}; {story}"
        for begin_s, end_s in self.silent:
            healing = [f for f in self.faults if f.what in ("loudspeaker unplugged", "no default") and f.over_s <= end_s + 1]
            bound_s = FOUND_S if not healing else 4 * limits.SOUND_CARD_RETRY_S
            assert end_s - begin_s <= bound_s, f"silent for {end_s - begin_s:.1f} s at {begin_s:.0f} s; {story}"

    def _stood_ms(self, from_ms: float, to_ms: float) -> float:
        """How long of this the whole program stood still."""
        stood_ms = [(1_000 * self._session_s(a), 1_000 * self._session_s(b)) for a, b in self._stood]
        return sum(max(0.0, min(b, to_ms) - max(a, from_ms)) for a, b in stood_ms)

    def _session_s(self, world_s: float) -> float:
        """The session's time, which goes on while the machine sleeps; the world's stands still."""
        return world_s + sum(10 * f.lasts_s for f in self.faults if f.what == "asleep" and f.at_s < world_s)


def run_many(seeds: Iterable[int], folder: Path, plan: Path, tell: Callable[[dict[str, Any]], None] = lambda outcome: None) -> list[dict[str, Any]]:
    """A sequence for each seed; each outcome has `held`, and `why` if it did not."""
    outcomes = []
    for number in seeds:
        place = folder / f"{number}"
        place.mkdir(parents=True, exist_ok=True)
        try:
            outcomes.append({**Sequence(number, place, plan).run(), "held": True, "why": ""})
        except Exception as error:
            outcomes.append({"seed": number, "held": False, "why": f"{type(error).__name__}: {error}"})
        tell(outcomes[-1])
    return outcomes
