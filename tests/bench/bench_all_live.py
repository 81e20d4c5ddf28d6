"""Runs every measurement of the live sound, one after another, and prints one table of aims and misses.

    python tests/bench/bench_all_live.py [--short] [--only NAME ...] [--fresh] [--results DIR]

The long form takes about seven hours, the short form six minutes. What is done is kept in the
results folder, so that an interrupted call goes on where it was (each part also keeps its own rows as
far as it can); `--fresh` begins anew. Parts that need virtual sound devices say so where there are
none, and count as missed. Exit code 1 if an aim is missed.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

HERE = Path(__file__).resolve().parent
RESULTS = HERE / "results" / "all-live"
Found = dict[str, Any]
Line = tuple[str, str, str, bool | None]
"""Figure, what was measured, the aim, whether it is reached (None: no aim)."""


@dataclass(frozen=True)
class Part:
    """`words`: how it is called, `{out}` is where its JSON goes; `file`: that JSON, below the results."""

    name: str
    words: tuple[str, ...]
    short: tuple[str, ...]
    file: str
    lines: Callable[[Found], Iterator[Line]]


def _beat(found: Found) -> Iterator[Line]:
    for loaded, changing in ((False, False), (True, False), (False, True), (True, True)):
        rows = [row for row in found["rows"] if row["cores_loaded"] is loaded and (row["per_minute"] == "changing") is changing]
        error, drift = max(r["error_p99_ms"] for r in rows), max(abs(r["drift_ms"]) for r in rows)
        odd = sum(r["doubled"] + r["skipped"] for r in rows)
        where = f"{'both cores loaded' if loaded else 'idle'}, {found['minutes']:.0f} min {'with changes of tempo' if changing else 'at 30 and 110 a minute'}"
        yield f"beat, onset error p99, {where}", f"{error} ms (n {sum(r['beats'] for r in rows)})", "<= 1 ms", error <= 1
        yield f"beat, drift, {where}", f"{drift} ms", "<= 1 ms", drift <= 1
        yield f"beats doubled or skipped, {where}", str(odd), "0", odd == 0


def _live(found: Found) -> Iterator[Line]:
    reply = found["reply_ms"]
    for name, aim in (("p50", 400), ("p95", 700)):
        yield f"live reply {name}", f"{reply[name]} ms (n {reply['n']})", f"<= {aim} ms", reply[name] is not None and reply[name] <= aim
    yield "believed at the first try", f"{found['believed']} of {found['answers']}", "", None


def _echo(found: Found) -> Iterator[Line]:
    for line in found["figures"]:
        yield line["figure"], f"{line['value']} (n {line['n']})", line["aim"], line["held"]


def _faults(found: Found) -> Iterator[Line]:
    outcomes = found["outcomes"]
    held = sum(one["held"] for one in outcomes)
    beats = sum(one.get("beats", 0) for one in outcomes)
    yield "sequences of faults survived, the beat kept", f"{held} of {len(outcomes)} ({beats} beats)", "all", held == len(outcomes)


def _standby(found: Found) -> Iterator[Line]:
    bound = f"at most {found['bound_an_hour']} an hour of this sound"
    yield "standby, false starts", f"{found['false_starts']} in {found['hours']} h ({bound})", "0 in 10 h", found["false_starts"] == 0
    for condition, count in found["taken"].items():
        share, aim = count["taken"] / count["n"], 0.95 if condition == "clean" else 0.85
        yield f"start phrase taken, {condition}", f"{share:.1%} (n {count['n']})", f">= {aim:.0%}", share >= aim
    for kind, row in found["cost"].items():
        yield f"standby, share of a core, {kind}", f"{row['core_percent']:.1f}%", "<= 5%", row["core_percent"] <= 5
        yield f"standby, memory, {kind}", f"{row['memory_mb']} MB", "<= 300 MB", row["memory_mb"] <= 300
    times = found["answer"].get("ms") or []
    said = f"at most {max(times)} ms (n {len(times)})" if times else str(found["answer"].get("left_out", "none"))
    yield "standby, phrase to first sound", said, "<= 1 s", bool(times) and max(times) <= 1_000


def _hour(found: Found) -> Iterator[Line]:
    early, late = found["memory_mb"]
    whole = not found["ended"]
    yield f"memory, {found['minutes']} min live", f"{early} -> {late} MB ({found['growth']:+.1%})", "<= +5%", whole and found["growth"] <= 0.05
    yield "files that are not the record", str(len(found["new_files"])), "0", not found["new_files"]


def _day(found: Found) -> Iterator[Line]:
    held = not found["ended"] and not found["holes"] and not found["mixer_errors"]
    yield f"{found['hours']} h on the virtual clock", f"{found['beats']} beats, {found['holes']} holes, {found['events']} events", "0 holes", held
    yield "memory over these hours", f"{found['growth']:+.1%}", "<= +5%", found["growth"] <= 0.05


PARTS = (
    Part("beat", ("bench_beat.py", "--out", "{out}"), ("--short",), "beat.json", _beat),
    Part("live", ("bench_live.py", "--voices", "6", "--out", "{out}"), ("--short",), "live.json", _live),
    Part("echo", ("bench_echo.py", "--results", "{folder}"), ("--short",), "echo/echo+0.json", _echo),
    Part("faults", ("bench_faults.py", "--out", "{out}"), ("--short",), "faults.json", _faults),
    Part("standby", ("bench_standby.py", "--out", "{folder}"), ("--short",), "standby/standby.json", _standby),
    Part("day", ("bench_day.py", "--out", "{out}"), ("--short",), "day.json", _day),
    Part("hour", ("bench_hour.py", "--out", "{out}"), ("--short",), "hour.json", _hour),
)


def run(part: Part, results: Path, short: bool) -> str:
    """Measures one part; why it gave nothing, or an empty text."""
    where = {"out": str(results / part.file), "folder": str((results / part.file).parent)}
    words = [word.format(**where) for word in part.words] + (list(part.short) if short else [])
    began_s = time.monotonic()
    with (results / f"{part.name}.log").open("a") as log:
        code = subprocess.run([sys.executable, str(HERE / words[0]), *words[1:]], stdout=log, stderr=log).returncode
    print(f"{part.name}: {time.monotonic() - began_s:.0f} s, exit code {code}", file=sys.stderr, flush=True)
    return "" if (results / part.file).exists() else f"exit code {code}; see {results / part.name}.log"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--short", action="store_true", help="the short form of each")
    parser.add_argument("--only", nargs="+", choices=[part.name for part in PARTS], help="these alone")
    parser.add_argument("--fresh", action="store_true", help="forget what was measured before")
    parser.add_argument("--show", action="store_true", help="measure nothing more")
    parser.add_argument("--results", type=Path)
    arguments = parser.parse_args()
    results = arguments.results or RESULTS / ("short" if arguments.short else "long")
    results.mkdir(parents=True, exist_ok=True)
    table = Table("figure", "measured", "aim", "held", title="Live sound")
    missed = 0
    for part in [p for p in PARTS if not arguments.only or p.name in arguments.only]:
        file, why = results / part.file, ""
        file.parent.mkdir(exist_ok=True)
        if arguments.fresh:
            file.unlink(missing_ok=True)
        if not file.exists():
            why = "not measured" if arguments.show else run(part, results, arguments.short)
        found = [(part.name, why, "", False)] if why else list(part.lines(json.loads(file.read_text())))
        for name, measured, aim, held in found:
            missed += held is False
            table.add_row(name, measured, aim, {None: "", True: "held", False: "MISSED"}[held])
    console = Console(width=max(130, Console().width))
    console.print(table)
    console.print(f"{os.cpu_count()} cores, {platform.machine()}; virtual devices and simulated rooms, no real loudspeaker", highlight=False)
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
