"""One hour of `prompter respond` at virtual sound devices: does its memory grow, or the files it leaves?

    python tests/bench/bench_hour.py [--minutes 60] [--short] [--seed N] [--out FILE]

A caregiver answers at each step what its plan allows there, drawn from the seed: three of four times
by voice, else by key; now and then the answer is over a prompt, or nobody answers. `prompter ready`
has prepared its home. Every 10 s are read: the resident memory, open files and threads of the process,
and the files below its home.

- growth: the mean resident memory of the last sixth against that of the second sixth (the first is
  warming up: ears, clips). Aim <= 5%.
- files: what is there at the end and was not after the first sixth, the record itself left out. Aim 0.

Interrupted, it tells of the time that was. Exit code 1 if an aim is missed; --short (a minute, in which
it is still warming up) does not judge the growth.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from live_helpers import live_helper
from rich.console import Console
from rich.table import Table

from prompter.flow.table import Stand
from prompter.flow.table import Table as Flow
from prompter.live.preparing import prepare

SHORT_MINUTES = 1.0
ROWS = 360
"""Read so often, but no more than each second."""
GROWTH_AIM = 0.05
NEVER = {"close it", "finished", "taken over"}
"""What would end it."""


class Process:
    """What the system tells of a process and of its folder."""

    def __init__(self, pid: int, home: Path) -> None:
        self._proc, self._home = Path(f"/proc/{pid}"), home
        self._began_s = time.monotonic()
        self.rows: list[dict[str, float]] = []
        self.files: list[set[str]] = []

    def read(self) -> None:
        """One row more."""
        status = dict(line.split(":", 1) for line in (self._proc / "status").read_text().splitlines() if ":" in line)
        self.rows.append({
            "at_s": round(time.monotonic() - self._began_s, 1), "memory_mb": int(status["VmRSS"].split()[0]) / 1024,
            "threads": int(status["Threads"]), "open_files": len(list((self._proc / "fd").iterdir())),
        })  # fmt: skip
        self.files.append({str(path.relative_to(self._home)) for path in self._home.rglob("*") if path.is_file()})


class Caregiver:
    """Answers `program` from the flow's own table."""

    def __init__(self, program: Any, voice: Any, caregivers: ModuleType, flow: Flow, seed: int) -> None:
        self._program, self._voice, self._module, self._flow = program, voice, caregivers, flow
        self._random = np.random.default_rng(seed)
        self._answered_at = -1
        self.spoken = self.pressed = 0

    def turn(self) -> None:
        """Answers, if something new was asked."""
        events = self._program.events()
        asked_at = max((e["seq"] for e in events if e["kind"] == "say" and e["role"] in ("care", "question")), default=-1)
        over = self._random.random() < 0.1
        if asked_at <= self._answered_at or not (over or self._module.asked(events)):
            return
        self._answered_at = asked_at
        stand = self._flow.stands.get(self._module.step_of(events))
        chance = self._random.random()
        if stand is None or chance < 0.1:
            return  # nobody answers
        key, wording = self._draw(stand)
        if chance < 0.3:
            self._program.press(key)
            self.pressed += 1
        elif wording:
            self._voice.say(wording, float(self._random.uniform(0.2, 1.5)))
            self.spoken += 1

    def _draw(self, stand: Stand) -> tuple[str, str]:
        """A key, and a wording for the same answer (or the number)."""
        answers = [(n, a) for n, a in enumerate(stand.own_answers, 1) if a not in NEVER]
        if not answers or any(a == "number fine" for _, a in answers) and self._random.random() < 0.7:
            return "#95\n", "95 percent" if answers else ""
        number, answer = answers[int(self._random.integers(len(answers)))]
        wordings = self._flow.flow.answers[answer].wordings
        return f"{number}\n", str(self._random.choice(wordings)) if wordings else ""


def measure(minutes: float, seed: int) -> dict[str, Any]:
    servers, caregivers = live_helper("sound_server"), live_helper("caregiver")
    if why := servers.missing():
        sys.exit(f"no virtual sound devices: {why}")
    folder = Path(tempfile.mkdtemp(prefix="bench-hour-"))
    server = servers.SoundServer(folder)
    plan = caregivers.write_plan(folder / "plan.yaml")
    subprocess.run(
        [str(caregivers.PROGRAM), "ready", "--quiet", "--plan", str(plan)], capture_output=True,
        env={**server.environment, "PROMPTER_HOME": str(folder / "home")},
    )  # fmt: skip
    program = caregivers.Respond(folder, server.environment, "--plan", str(plan))
    process = Process(program.process.pid, folder / "home")
    caregiver = Caregiver(program, caregivers.Caregiver(server), caregivers, prepare(plan).table, seed)
    began_s, told, every_s = time.monotonic(), 0.0, max(1.0, 60 * minutes / ROWS)
    ended = ""
    try:
        while (passed_s := time.monotonic() - began_s) < 60 * minutes:
            if program.process.poll() is not None:
                ended = f"the program ended after {passed_s:.0f} s: {program.output.read_text()[-300:]}"
                break
            if passed_s >= told:
                told += every_s
                process.read()
                if len(process.rows) % 30 == 1:
                    print(process.rows[-1], file=sys.stderr, flush=True)
            caregiver.turn()
            time.sleep(0.25)
    except KeyboardInterrupt:
        ended = "interrupted"
    events = program.events()
    if program.process.poll() is None:
        program.settle(0)
    server.close()
    failed = [f"{e['part']}: {e.get('detail', '')}" for e in events if e["kind"] in ("failed", "fault")]
    found = figures(process) | {
        "ended": ended, "failed": failed, "spoken": caregiver.spoken, "pressed": caregiver.pressed,
        "events": len(events), "believed": sum(e["kind"] == "heard" and e["believed"] for e in events),
        "journal_kb": round(program.journal.stat().st_size / 1024), "load_1m": round(os.getloadavg()[0], 1),
        "cores": os.cpu_count(), "rows": process.rows,
    }  # fmt: skip
    shutil.rmtree(folder, ignore_errors=True)
    return found


def figures(process: Process) -> dict[str, Any]:
    """Growth from the second sixth of the time to the last."""
    rows, sixth = process.rows, max(1, len(process.rows) // 6)
    mean = lambda name, part: float(np.mean([row[name] for row in part]))  # noqa: E731
    early, late = rows[sixth : 2 * sixth] or rows, rows[-sixth:]
    return {
        "minutes": round(rows[-1]["at_s"] / 60, 1),
        "memory_mb": [round(mean("memory_mb", part), 1) for part in (early, late)],
        "growth": round(mean("memory_mb", late) / mean("memory_mb", early) - 1, 4),
        "threads": [round(mean("threads", part), 1) for part in (early, late)],
        "open_files": [round(mean("open_files", part), 1) for part in (early, late)],
        "new_files": sorted(process.files[-1] - process.files[min(sixth, len(rows) - 1)]),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--short", action="store_true", help=f"{SHORT_MINUTES:.0f} minute, whose growth is not judged")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="write the figures here as JSON")
    arguments = parser.parse_args()
    found = measure(SHORT_MINUTES if arguments.short else arguments.minutes, arguments.seed)
    table = Table("figure", "measured", "aim", title=f"{found['minutes']} minutes live")
    early, late = found["memory_mb"]
    table.add_row("memory, MB", f"{early} -> {late} ({100 * found['growth']:+.1f}%)", f"<= +{100 * GROWTH_AIM:.0f}%")
    table.add_row("files that are not the record", str(len(found["new_files"])), "0")
    table.add_row("threads; open files", f"{found['threads']}; {found['open_files']}", "")
    table.add_row("answers spoken (believed); keyed", f"{found['spoken']} ({found['believed']}); {found['pressed']}", "")
    table.add_row("events; journal, kB", f"{found['events']}; {found['journal_kb']}", "")
    Console().print(table)
    for line in [*found["new_files"][:5], *found["failed"][:5], *filter(None, [found["ended"]])]:
        print(line)
    if arguments.out:
        arguments.out.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    grew = not arguments.short and found["growth"] > GROWTH_AIM
    if grew or found["new_files"] or found["ended"]:
        sys.exit(1)


if __name__ == "__main__":
    main()
