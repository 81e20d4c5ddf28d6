"""A whole day of one emergency on the virtual clock: does the real runner go on, in time and in memory?

    python tests/bench/bench_day.py [--hours 24] [--short] [--seed N] [--out FILE]

The devices and the clock are pretended (tests/live/breaking.py): a loudspeaker, no microphone, keys
drawn from the seed every 5 to 120 s, time that passes in steps of 0.25 s. What would close the
emergency is left out. Looked at:

- each row of beats has no hole, and each beat is where it belongs (the steps' own 0.25 s allowed);
- the journal is whole at the end and every event reached the disk; the mixer never failed;
- growth: resident memory after the last hour against that after the first quarter. Aim <= 5%, the
  list of events that this measurement keeps itself taken off.

Exit code 1 if one of these does not hold. Interrupted, it tells of the hours that were.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from live_helpers import live_helper
from rich.console import Console
from rich.table import Table

from prompter import limits
from prompter.live.memory import give_back

STEP_S, RATE_HZ, SHORT_HOURS = 0.25, 8_000, 0.5
GROWTH_AIM = 0.05
NEVER = ("close it", "finished", "taken over")


def resident_mb() -> float:
    give_back()
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


class Day:
    """One emergency of so many hours."""

    def __init__(self, folder: Path, hours: float, seed: int) -> None:
        self.breaking, sequences = live_helper("breaking"), live_helper("sequences")
        self.random, self.hours = np.random.default_rng(seed), hours
        plan = live_helper("caregiver").write_plan(folder / "plan.yaml")
        speaker = self.breaking.Device("speaker", "output", RATE_HZ, 1, True)
        self.world = self.breaking.World(folder, self.random, plan, sequences.clip, sequences.speech(), [speaker])
        self.memory_mb: list[float] = []
        self.beats = self.holes = self.events = 0
        self.worst_ms, self._last = 0.0, {}  # type: ignore[var-annotated]
        self._paces: dict[int, dict[str, Any]] = {}

    def run(self) -> dict[str, Any]:
        limits.TURN_S = STEP_S
        began_s, ended = time.monotonic(), ""
        with self.breaking.broken_world(self.world) as world:
            world.begin()
            next_key_s, next_look_s = 30.0, 0.0
            try:
                while world.passed_s < 3600 * self.hours and not world.runner.over:
                    world.runner.turn()
                    if world.passed_s >= next_key_s:
                        next_key_s = world.passed_s + float(self.random.uniform(5, 120))
                        self._press()
                    if world.passed_s >= next_look_s:
                        next_look_s += 225.0
                        self._look()
                if world.runner.over:
                    ended = f"it was over after {world.passed_s:.0f} s"
            except KeyboardInterrupt:
                ended = "interrupted"
            hours = world.passed_s / 3600
            self._look()
            errors, events = world.mixer.errors, world.end()
        quarter = max(1, len(self.memory_mb) // 4)
        early, late = self.memory_mb[quarter], self.memory_mb[-1]
        return {
            "hours": round(hours, 2), "ended": ended, "events": len(events), "beats": self.beats, "holes": self.holes,
            "worst_ms": round(self.worst_ms), "mixer_errors": errors, "memory_mb": [round(early, 1), round(late, 1)],
            "growth": round(late / early - 1, 4), "wall_s": round(time.monotonic() - began_s),
        }  # fmt: skip

    def _press(self) -> None:
        keys = [key for key, answer, _ in self.world.runner.session.view().own_keys if answer not in NEVER]
        if keys:
            self.world.inbox.put(("key", str(self.random.choice(keys))))

    def _look(self) -> None:
        """Takes what was recorded meanwhile, keeps none of it, and reads the memory. Some minutes' events
        come in a second of real time: the disk gets as long for them as it needs."""
        self.breaking.wait_until_written(self.world)
        records, self.world.records = self.world.records, []
        self.events += len(records)
        for record in records:
            if record["kind"] == "pace":
                self._paces = {record["cue"]: record}
                self._last = {}
            elif record["kind"] == "beat" and record["cue"] in self._paces:
                self._beat(record)
        self.memory_mb.append(resident_mb())

    def _beat(self, beat: dict[str, Any]) -> None:
        before, pace = self._last.get(beat["cue"]), self._paces[beat["cue"]]
        self._last[beat["cue"]] = beat
        self.beats += 1
        if before is None or pace["pushes_a_cycle"]:
            return
        self.holes += beat["index"] != before["index"] + 1
        off_ms = abs(beat["sound_ms"] - before["sound_ms"] - 60_000 / pace["per_minute"])
        self.worst_ms = max(self.worst_ms, off_ms)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--short", action="store_true", help=f"{SHORT_HOURS} hours")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="write the figures here as JSON")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-day-") as name:
        os.environ["PROMPTER_HOME"] = str(Path(name, "home"))
        found = Day(Path(name), SHORT_HOURS if arguments.short else arguments.hours, arguments.seed).run()
    table = Table("figure", "measured", "aim", title=f"{found['hours']} hours on the virtual clock")
    early, late = found["memory_mb"]
    table.add_row("beats; holes", f"{found['beats']}; {found['holes']}", "0 holes")
    table.add_row("furthest between two beats off its period, ms", str(found["worst_ms"]), f"<= {1000 * STEP_S:.0f} (the steps)")
    table.add_row("memory, MB", f"{early} -> {late} ({100 * found['growth']:+.1f}%)", f"<= +{100 * GROWTH_AIM:.0f}%")
    table.add_row("events; failures of the mixer", f"{found['events']}; {found['mixer_errors']}", "0 failures")
    table.add_row("seconds", str(found["wall_s"]), "")
    Console().print(table)
    if found["ended"]:
        print(found["ended"])
    if arguments.out:
        arguments.out.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    bad = found["ended"] or found["holes"] or found["mixer_errors"] or found["worst_ms"] > 1000 * STEP_S
    grew = not arguments.short and found["growth"] > GROWTH_AIM  # half an hour is mostly warming up
    sys.exit(1 if bad or grew or not found["beats"] else 0)


if __name__ == "__main__":
    main()
