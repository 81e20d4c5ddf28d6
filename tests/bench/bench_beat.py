"""Measures the beat in the rendered samples: is each breath and push where it belongs?

    python tests/bench/bench_beat.py [--short] [--seed N] [--out FILE]

The real mixer is drawn by one thread in blocks as sound cards ask for them, while another queues
prompts, hushes them, corrects the pace (the same again) and changes its tempo, at times of its own.
Then the prompts alone are taken off what came out (a second mixer is given the same, without the
beat), and each onset is found by its own sound: the place at which the tone's waves fit best,
whatever the duck made of its loudness. The mixer's reports are not asked.

- error: of each onset against the beat counted on from the first of its tempo; p99, worst.
- drift: the last five minutes' mean error less the first's, in ms.
- doubled: two beats nearer than the shorter interval at a change; skipped: further than the longer.

Once on an idle machine, once with as many busy processes as cores. Aims: p99 <= 1 ms, drift <= 1 ms,
none doubled or skipped (the trade's rates: 2020 AHA Guidelines Parts 3 and 4). The exit code is 1 if
one is missed.
"""

import argparse
import contextlib
import json
import multiprocessing
import os
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from prompter import limits
from prompter.events import Pace, Say
from prompter.live.preparing import prepare
from prompter.speak import tones
from prompter.speak.mixer import Mixer
from prompter.speak.own_voice import prompter_voice

MINUTES, SHORT_MINUTES = 10.0, 2.0
RATES_HZ = (48_000, 22_050)
AIM_MS = 1.0
STEADY = {"breaths": 30.0, "pushes": 110.0}
OTHERS = {"breaths": (20.0, 25.0, 30.0), "pushes": (100.0, 110.0, 120.0)}
"""The trade's rates: infant and child 20 to 30 breaths, 100 to 120 pushes a minute."""

SOUNDS = {"breaths": (tones.breath, tones.BREATH_HZ), "pushes": (tones.push, tones.PUSH_HZ)}

ABOVE_NOTHING = 1e-6
"""What is left where no beat sounds is rounding (6e-8); an onset is looked for where it is more."""


@dataclass(frozen=True)
class Change:
    """At sample `at` the pace was asked for anew, at `per_minute`."""

    at: int
    per_minute: float


@dataclass
class Rendered:
    """`beat`: what is left of the sound without the prompts; `changes`: what was asked of the pace."""

    beat: np.ndarray
    changes: list[Change]
    prompts: int


class Clips:
    """Real prompts, spoken once."""

    def __init__(self) -> None:
        voice = prompter_voice()
        self.of = {text: voice.render(text) for text in prepare(None).table.texts()[:40]}


class Driver:
    """Asks two mixers for the same, but only the first for the beat; draws both."""

    def __init__(self, clips: Clips, rate_hz: int, what: str, steady: bool, seed: int) -> None:
        self.both = Mixer(rate_hz, clips.of.get)
        self.speech = Mixer(rate_hz, clips.of.get)
        self._texts = list(clips.of)
        self._random = np.random.default_rng([seed, rate_hz, what == "pushes", steady])
        self._what, self._steady = what, steady
        self._rate_hz = rate_hz
        self._turn = threading.Lock()  # both mixers must be asked between the same two blocks
        self.changes: list[Change] = []
        self.prompts = 0
        self._cue = self._spoke_at = 0
        self._over = threading.Event()

    def run(self, minutes: float) -> Rendered:
        self._pace(STEADY[self._what])
        asking = threading.Thread(target=self._ask)
        asking.start()
        parts, count = [], round(minutes * 60 * self._rate_hz)
        try:
            while count > 0:
                size = min(count, int(self._random.choice((128, 441, 512, 960, 1024, 2048))))
                with self._turn:
                    parts.append(self.both.render(size) - self.speech.render(size))
                    if self.both.speaking:
                        self._spoke_at = self.both.position
                count -= size
                self.both.take_reports()
                self.speech.take_reports()
        finally:
            self._over.set()
            asking.join()
        if self.both.errors or self.speech.errors:
            raise RuntimeError("the mixer failed")
        return Rendered(np.concatenate(parts), self.changes, self.prompts)

    def _ask(self) -> None:
        """Beside the drawing: something new each 1 to 6 s of what is drawn."""
        random = np.random.default_rng(self._cue + 7)
        next_at = 0
        while not self._over.wait(0.0005):
            if self.both.position < next_at:
                continue
            next_at = self.both.position + round(random.uniform(1, 6) * self._rate_hz)
            with self._turn:
                self._something(random)

    def _something(self, random: np.random.Generator) -> None:
        choice = random.random()
        if choice < 0.7:
            self._cue += 1
            self.prompts += 1
            say = Say(0, self._cue, self._texts[int(random.integers(len(self._texts)))], "care", "bag")
            self.both.enqueue(say)
            self.speech.enqueue(say)
        elif choice < 0.8:
            self.both.hush()
            self.speech.hush()
        elif self.both.position > self._spoke_at + self._rate_hz:
            # A pace waits for the speech before it and its pause: then the change would be later. What is
            # said is seen at the ends of blocks alone (up to 93 ms), and 120 ms of pause follow: 200 ms were too few.
            self._pace(STEADY[self._what] if self._steady else float(random.choice(OTHERS[self._what])))

    def _pace(self, per_minute: float) -> None:
        self._cue += 1
        self.changes.append(Change(self.both.position, per_minute))
        self.both.enqueue(Pace(0, self._cue, self._what, per_minute))


# ---- found in the samples -----------------------------------------------------------------------


def onsets(beat: np.ndarray, tone: np.ndarray, frequency_hz: float, rate_hz: int) -> np.ndarray:
    """Samples at which `tone` begins in `beat`, which is silent between the beats."""
    sounding = np.flatnonzero(np.abs(beat) > ABOVE_NOTHING)
    if not len(sounding):
        return np.zeros(0, int)
    quiet = round(0.02 * rate_hz)  # zero crossings are shorter, pauses between beats longer
    begins = sounding[np.concatenate([[True], np.diff(sounding) > quiet])]
    return np.array([_fitted(beat, tone, int(begin), rate_hz / frequency_hz) for begin in begins])


def _fitted(beat: np.ndarray, tone: np.ndarray, begin: int, wave: float) -> int:
    """The onset, at which the tone's waves fit best. A swell begins so softly that its first sample
    above rounding comes late, by up to half a wave; less than one wave is looked at, so that no
    other wave fits. `wave`: its length in samples."""
    length = min(len(tone), round(12 * wave))
    first = max(0, begin - round(0.8 * wave))
    part = beat[first : begin + 2 + length].astype(np.float64)
    if len(part) <= length:
        return begin  # cut by the end of what was rendered
    windows = np.lib.stride_tricks.sliding_window_view(part, length)
    return first + int(np.argmax(windows @ tone[:length].astype(np.float64)))


@dataclass
class Judged:
    errors_ms: list[float]
    at_s: list[float]
    doubled: int = 0
    skipped: int = 0


def judge(found: np.ndarray, rendered: Rendered, rate_hz: int) -> Judged:
    """Counts the beats of each tempo on from its first one, and looks at each change of tempo."""
    judged = Judged([], [])
    tempos = _tempos(rendered.changes)
    for number, (begin, per_minute) in enumerate(tempos):
        end = tempos[number + 1][0] if number + 1 < len(tempos) else len(rendered.beat)
        here = found[(found >= begin) & (found < end)]
        if not len(here):
            continue
        period = Fraction(60) / Fraction(per_minute) * rate_hz
        for index, at in enumerate(here):
            judged.errors_ms.append(1000 * float(at - here[0] - index * period) / rate_hz)
            judged.at_s.append(at / rate_hz)
        before = found[found < begin]
        if len(before):
            last = max(n for n, (since, _) in enumerate(tempos) if since <= before[-1])
            old = Fraction(60) / Fraction(tempos[last][1]) * rate_hz
            gap, slack = int(here[0] - before[-1]), AIM_MS * rate_hz / 1000
            judged.doubled += gap < min(old, period) - slack
            judged.skipped += gap > max(old, period) + slack
    return judged


def _tempos(changes: list[Change]) -> list[tuple[int, float]]:
    """Where the tempo really changed: a correction is the same again."""
    found: list[tuple[int, float]] = []
    for change in changes:
        if not found or found[-1][1] != change.per_minute:
            found.append((change.at, change.per_minute))
    return found


def figures(judged: Judged) -> dict[str, Any]:
    errors, at_s = np.array(judged.errors_ms), np.array(judged.at_s)
    half = (at_s.min() + at_s.max()) / 2
    return {
        "beats": len(errors),
        "error_p99_ms": round(float(np.percentile(np.abs(errors), 99)), 3),
        "error_worst_ms": round(float(np.abs(errors).max()), 3),
        "drift_ms": round(float(errors[at_s > half].mean() - errors[at_s <= half].mean()), 3),
        "doubled": judged.doubled, "skipped": judged.skipped,
    }  # fmt: skip


# ---- the machine loaded -------------------------------------------------------------------------


def _burn() -> None:
    number = 1.0
    while True:
        number = number * 1.0000001 % 3


@contextlib.contextmanager
def busy(wanted: bool) -> Iterator[None]:
    """As many busy processes as cores."""
    burning = []
    if wanted:
        context = multiprocessing.get_context("spawn")
        burning = [context.Process(target=_burn, daemon=True) for _ in range(os.cpu_count() or 2)]
    for process in burning:
        process.start()
    try:
        yield
    finally:
        for process in burning:
            process.kill()
            process.join()


def measure(minutes: float, seed: int, tell: Any = lambda line: None) -> list[dict[str, Any]]:
    clips, rows = Clips(), []
    for load in (False, True):
        with busy(load):
            for what in STEADY:
                for steady in (True, False):
                    for rate_hz in RATES_HZ:
                        tell(f"{what}, {'one tempo' if steady else 'changed'}, {rate_hz} Hz")
                        rendered = Driver(clips, rate_hz, what, steady, seed).run(minutes)
                        made, frequency_hz = SOUNDS[what]
                        found = onsets(rendered.beat, made(rate_hz), frequency_hz, rate_hz)
                        rows.append({
                            "what": what, "per_minute": STEADY[what] if steady else "changing", "rate_hz": rate_hz,
                            "cores_loaded": load, "prompts": rendered.prompts, "asked": len(rendered.changes),
                            **figures(judge(found, rendered, rate_hz)),
                        })  # fmt: skip
    return rows


def holds(row: dict[str, Any]) -> bool:
    small = row["error_p99_ms"] <= AIM_MS and abs(row["drift_ms"]) <= AIM_MS
    return bool(small and not row["doubled"] and not row["skipped"] and row["prompts"] and row["beats"] > 10)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--short", action="store_true", help=f"{SHORT_MINUTES:.0f} minutes of sound instead of {MINUTES:.0f}")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="write the figures here as JSON")
    arguments = parser.parse_args()
    minutes = SHORT_MINUTES if arguments.short else MINUTES
    rows = measure(minutes, arguments.seed, lambda line: print(line, file=sys.stderr, flush=True))
    table = Table("beat", "tempo", "rate, Hz", "cores", "prompts", "asked anew", "beats", "error p99, ms", "worst, ms", "drift, ms", "doubled", "skipped",
                  title=f"{minutes:.0f} minutes of sound each; aims: p99 <= {AIM_MS} ms, drift <= {AIM_MS} ms, none doubled or skipped")  # fmt: skip
    for row in rows:
        table.add_row(
            row["what"], str(row["per_minute"]), str(row["rate_hz"]), "loaded" if row["cores_loaded"] else "idle",
            *(str(row[name]) for name in ("prompts", "asked", "beats", "error_p99_ms", "error_worst_ms", "drift_ms", "doubled", "skipped")),
        )  # fmt: skip
    Console(width=150).print(table)
    if arguments.out:
        text = json.dumps({"minutes": minutes, "cores": os.cpu_count(), "block": limits.BLOCK_SAMPLES, "rows": rows}, indent=1)
        arguments.out.write_text(text + "\n", encoding="utf-8")
    if not all(map(holds, rows)):
        sys.exit(1)


if __name__ == "__main__":
    main()
