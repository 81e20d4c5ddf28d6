"""Measures what the journal survives: kills, losses of power, damage; and how long a flush takes.

Run: python tests/bench/bench_survive.py [--short] [--part kills|power|damage|flush ...] [--folder DIR]
The full counts are 1,000 kills, 10,000 losses of power and 100,000 damaged journals; --short takes 50,
500 and 2,000. It can be interrupted: what is counted stands in DIR/survive.json, and the same command
goes on. Exit code 1 if anything was lost, unreadable or too slow.
"""

import argparse
import importlib.util
import json
import os
import random
import select
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

from prompter.flow.machine import FlowMachine
from prompter.flow.reading import parse_flow
from prompter.flow.table import Table, build
from prompter.journal import Journal, read
from prompter.opening import variant_of
from prompter.replay import replayed

HERE = Path(__file__).resolve().parent
FULL = {"kills": 1_000, "power": 10_000, "damage": 100_000, "flush": 2_000}
SHORT = {"kills": 50, "power": 500, "damage": 2_000, "flush": 300}
STEP = {"kills": 1, "power": 250, "damage": 500, "flush": 300}
EVENTS_MOST = 250
RESUME_S, FLUSH_MS = 2.0, 10.0


def losses() -> ModuleType:
    name = "journal_losses"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, HERE.parent / "journal" / "losses.py")
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


# ---- kills -------------------------------------------------------------------------------------


class Child:
    """A prompter in a process of its own, and what it told."""

    def __init__(self, folder: Path, seed: str) -> None:
        self.began_s = time.perf_counter()
        self.journal, self.first, self.acknowledged, self.resumed_s = "", "", {}, None
        self.computed_s = 0.0
        self.rest = b""
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / "survive_child.py"), str(folder), seed], stdout=subprocess.PIPE
        )

    def events(self) -> int:
        return sum(self.acknowledged.values())

    def take(self, wait_s: float) -> None:
        fd = self.process.stdout.fileno()
        if not select.select([fd], [], [], wait_s)[0]:
            return
        *lines, self.rest = (self.rest + os.read(fd, 65536)).split(b"\n")
        for what, value in (line.decode().split() for line in lines):
            if what == "J":
                self.journal, self.first = value, self.first or value
                self.acknowledged[value] = 0
            elif what == "U":
                self.computed_s = int(value) / 1000
            elif what == "R":
                self.resumed_s = time.perf_counter() - self.began_s
            else:
                self.acknowledged[self.journal] = int(value)

    def kill(self) -> None:
        self.process.kill()
        while self.process.poll() is None or select.select([self.process.stdout], [], [], 0)[0]:
            before = self.rest
            self.take(0.05)
            if self.process.poll() is not None and self.rest == before:
                break
        self.process.wait()
        self.process.stdout.close()


def kills(folder: Path, count: int, seed: int, so_far: dict[str, Any]) -> None:
    """Kills at a random number of acknowledged events, and at a random moment after."""
    folder = folder / "kills"
    folder.mkdir(parents=True, exist_ok=True)
    if so_far["done"]:
        _look_again(folder, so_far)
    for _ in range(count):
        rng = random.Random(f"{seed} {so_far['done']}")
        child = Child(folder, f"{seed} {so_far['done']}")
        wanted = rng.randint(1, EVENTS_MOST) if so_far["done"] else EVENTS_MOST
        end_s = time.perf_counter() + 60
        resumes = so_far["done"] > 0 and so_far.get("open", False)
        while child.process.poll() is None and time.perf_counter() < end_s:
            child.take(1)
            if child.events() - so_far.get("before", 0) * resumes >= wanted:
                break
        time.sleep(rng.random() * 0.01)
        child.kill()
        so_far["done"] += 1
        _judge_kill(folder, child, resumes, so_far)


def _first_difference(events: list[dict[str, Any]]) -> dict[str, Any] | None:
    """As `replay` says it, without reading the same protocol anew each time."""
    first = events[0]
    machine = FlowMachine(_table(first["flow_text"], json.dumps(first["variant"], sort_keys=True)))
    return replayed(events, machine).first_difference


@lru_cache(maxsize=8)
def _table(flow_text: str, variant: str) -> Table:
    return build(parse_flow(flow_text, "the journal's flow"), variant_of(json.loads(variant)))


def _look_again(folder: Path, so_far: dict[str, Any]) -> None:
    """What stands on the disk: whoever interrupted this bench may have done so after the last count."""
    last = max(folder.glob("*.jsonl"), default=None)
    events = read(last).events if last else []
    so_far["open"] = _is_open(events)
    so_far["journal"] = last.name if last else ""
    so_far["before"] = len(events)


def _is_open(events: list[dict[str, Any]]) -> bool:
    kinds = [event["kind"] for event in events]
    return "started" in kinds and "closed" not in kinds


def _judge_kill(folder: Path, child: Child, resumes: bool, so_far: dict[str, Any]) -> None:
    if resumes and child.resumed_s is None:
        other = child.first not in ("", so_far["journal"])
        so_far["not_resumed" if other else "killed_while_resuming"] += 1
    elif resumes:
        so_far["resume_s"].append(round(child.resumed_s, 3))
        so_far["resume_computing_s"].append(child.computed_s)
    for name, acknowledged in child.acknowledged.items():
        path = folder / name
        reading = read(path) if path.exists() else None
        there = len(reading.events) if reading else 0
        so_far["lost"] += max(0, acknowledged - there)
        sound = reading is not None and (reading.intact or reading.torn_tail and not reading.missing)
        so_far["unreadable"] += acknowledged > 0 and not sound
        if reading is not None and reading.events:
            difference = _first_difference(reading.events)
            so_far["replays_differently"] += difference is not None
            if difference is not None:
                print(name, difference, file=sys.stderr)
        if reading is not None and reading.closed:
            path.unlink()
            for beside in ("head", "lock"):
                path.with_name(f"{name}.{beside}").unlink(missing_ok=True)
    so_far["acknowledged"] += child.events() - (so_far["before"] if resumes else 0)
    last = folder / child.journal
    so_far["open"] = last.is_file() and _is_open(read(last).events)
    so_far["journal"] = child.journal
    so_far["before"] = child.acknowledged.get(child.journal, 0)


# ---- power, damage, flush ----------------------------------------------------------------------


def power(folder: Path, count: int, seed: int, so_far: dict[str, Any]) -> None:
    with tempfile.TemporaryDirectory() as work:
        lost = losses().power_losses(Path(work), count, f"{seed} {so_far['done']}")
    so_far["done"] += lost.losses
    so_far["lost"] += lost.events
    so_far["unreadable"] += lost.unreadable


def damage(folder: Path, count: int, seed: int, so_far: dict[str, Any]) -> None:
    """`missed`: neither detected nor harmless. A traceback ends the bench."""
    module = losses()
    sound = module.sample(120, seed)
    for _ in range(count):
        rng = random.Random(f"{seed} {so_far['done']}")
        so_far["missed"] += not module.harmless(sound, module.damaged(sound, rng))
        so_far["done"] += 1


def flush(folder: Path, count: int, seed: int, so_far: dict[str, Any]) -> None:
    event = {"kind": "say", "cue": 41, "text": "Pull out the old one, along its curve.", "role": "care", "step": "tube-out"}
    path = folder / f"flush-{os.getpid()}-{so_far['done']}.jsonl"
    journal = Journal.create(path, {"kind": "opened"})
    for n in range(count):
        begun_s = time.perf_counter()
        journal.append(event, datetime.now(UTC), n)
        so_far["append_ms"].append(round(1000 * (time.perf_counter() - begun_s), 3))
    journal.close()
    path.unlink()
    path.with_name(f"{path.name}.head").unlink()
    so_far["done"] += count


# ---- all ---------------------------------------------------------------------------------------

PARTS: dict[str, tuple[Callable[..., None], dict[str, Any]]] = {
    "kills": (kills, {"done": 0, "acknowledged": 0, "lost": 0, "unreadable": 0, "not_resumed": 0, "killed_while_resuming": 0, "replays_differently": 0, "resume_s": [], "resume_computing_s": []}),
    "power": (power, {"done": 0, "lost": 0, "unreadable": 0}),
    "damage": (damage, {"done": 0, "missed": 0}),
    "flush": (flush, {"done": 0, "append_ms": []}),
}  # fmt: skip
NONE_OF = ("lost", "unreadable", "missed", "not_resumed", "replays_differently")


def at_share(values: list[float], share: float) -> float | None:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))] if values else None


def summary(name: str, counted: dict[str, Any]) -> dict[str, Any]:
    """The counts, with percentiles in place of the single times."""
    told = {k: v for k, v in counted.items() if not isinstance(v, list) and k not in ("open", "before", "journal")}
    for key in ("resume_s", "resume_computing_s", "append_ms"):
        if key in counted:
            told[key] = {"n": len(counted[key]), "p50": at_share(counted[key], 0.5), "p95": at_share(counted[key], 0.95), "max": at_share(counted[key], 1)}
    told["holds"] = not any(counted.get(k) for k in NONE_OF)
    if name == "kills" and counted["resume_s"]:
        told["holds"] &= max(counted["resume_s"]) <= RESUME_S
    if name == "flush" and counted["append_ms"]:
        told["holds"] &= (at_share(counted["append_ms"], 0.95) or 0) <= FLUSH_MS
    return told


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--part", action="append", choices=[*PARTS])
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, help="where counts and journals are kept; the disk that is measured")
    parser.add_argument("--minutes", type=float, default=float("inf"), help="stop after this; go on another time")
    arguments = parser.parse_args()
    folder = arguments.folder or Path(tempfile.mkdtemp(prefix="survive-"))
    folder.mkdir(parents=True, exist_ok=True)
    kept = folder / "survive.json"
    counted = json.loads(kept.read_text()) if kept.exists() else {}
    end_s = time.perf_counter() + 60 * arguments.minutes
    for name in arguments.part or PARTS:
        work, empty = PARTS[name]
        so_far = counted.setdefault(name, json.loads(json.dumps(empty)))
        wanted = (SHORT if arguments.short else FULL)[name]
        while so_far["done"] < wanted and time.perf_counter() < end_s:
            work(folder, min(STEP[name], wanted - so_far["done"]), arguments.seed, so_far)
            new = kept.with_suffix(".new")
            new.write_text(json.dumps(counted))
            os.replace(new, kept)
        print(f"{name:<8}", json.dumps(summary(name, so_far)), flush=True)
    if arguments.folder is None:
        shutil.rmtree(folder, ignore_errors=True)
    return 0 if all(summary(name, counted[name])["holds"] for name in arguments.part or PARTS) else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit("interrupted: the same command goes on from what is counted (with --folder)")
