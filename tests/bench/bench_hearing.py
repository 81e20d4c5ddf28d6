"""Measures the hearing against everything it has to reach, and prints one table.

python tests/bench/bench_hearing.py [--audio DIR] [--out DIR] [--share S | --quick] [--jobs 2]

Needs the extra `bench` (simulated rooms). DIR of --audio holds spoken-words/ and room-noise/;
without it ../shared/audio is taken if it is there, else the small packaged set.

The whole takes some hours on two cores, --share 0.1 about a tenth of that, --quick some minutes;
shorter runs take the first part of every group, so a longer one goes on from there. Every row is
kept in --out at once: interrupt it, and run it again to go on. Rows belong to one state of the
hearing, of what is listened for and of the sounds; after a change it begins anew. Voices, speakers and sounds are
those that tuned nothing (REPORT in sounds.py); seeds are fixed. Writes hearing.json.
"""

import argparse
import json
import os
import platform
from dataclasses import asdict
from pathlib import Path
from typing import Any

from cases import VOICES, groups, take, timing_group
from figures import OUTCOMES, Line, curve, lines, mistakes, shares
from hearing_rows import Row
from pieces import MEMORY, TIMING, fingerprint, measure, measure_memory, read_rows, wanted
from rich.console import Console
from rich.table import Table

from prompter.resources import shared_file

HERE = Path(__file__).parent
BESIDE = HERE.parents[2] / "shared" / "audio"


def show(found: list[Line], console: Console) -> None:
    table = Table("figure", "condition", "n", *OUTCOMES[:5], "reached", "bound", "aim", "held")
    for line in found:
        counts = [str(line.counts.get(name) or "") for name in OUTCOMES[:5]]
        held = {None: "", True: "held", False: "[bold red]missed"}[line.held]
        table.add_row(line.figure, line.condition, str(line.n), *counts, line.value, line.bound,
                      line.aim, held)  # fmt: skip
    console.print(table)
    console.print("bound: one-sided 95% upper bound of what is wrong, taken or cut")


def curves(rows: list[Row], found: list[Line]) -> dict[str, list[dict[str, Any]]]:
    """Of the groups that miss."""
    missed = [line for line in found if line.held is False]
    names = [f"{line.figure}: {line.condition.split(',')[0]}" for line in missed]
    some = {name: [r for r in rows if r["group"] == name] for name in names}
    flow = [r for r in rows if r["group"].startswith("flow")]
    return {name: curve(group) for name, group in (some | {"flow: all": flow}).items() if group}


def show_curves(found: dict[str, list[dict[str, Any]]], console: Console) -> None:
    if not found:
        return
    offsets = [point["offset"] for point in next(iter(found.values()))]
    table = Table("right% / wrong at thresholds shifted by", *(f"{o:+g}" for o in offsets))
    for name, points in found.items():
        cells = [f"{100 * p['right'] / p['n']:.1f} / {p['wrong']}" for p in points]
        table.add_row(f"{name} (n {points[0]['n']})", *cells)
    console.print(table)


def show_weak(rows: list[Row], console: Console) -> None:
    """The wordings and voices that are heard worst."""
    for key, count in (("said", 25), ("voice", len(rows))):
        worst = list(shares(rows, key).items())[:count]
        text = "; ".join(
            f"{name} {right}/{n}" + f", {wrong} wrong" * bool(wrong)
            for name, (right, wrong, n) in worst
        )
        console.print(f"right, by {key}, all surroundings, worst first: {text}", highlight=False)


def show_mistakes(found: list[dict[str, Any]], console: Console) -> None:
    for m in found:
        more = " ".join(str(m[k]) for k in ("rt60_s", "pace") if k in m)
        said = " + ".join(m.get("meanwhile") or [m["said"]])
        operator = f" (operator: {m['operator']})" if "operator" in m else ""
        console.print(
            f"{'SWAPPED ' if m['swapped'] else ''}{m['group']} {more} #{m['number']} {m['voice']}"
            f" at {m['step']}: '{said}' believed as '{m['wording']}' ({m['answer']}),"
            f" score {m['score']}, margin {m['margin']} to '{m['runner_up']}',"
            f" decode '{m['text']}'{operator}", markup=False, highlight=False,
        )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path)
    parser.add_argument("--out", type=Path, default=HERE / "results" / "hearing")
    parser.add_argument("--share", type=float, default=1.0, help="of every group, 0 to 1")
    parser.add_argument("--quick", action="store_true", help="a few of every group")
    parser.add_argument("--jobs", type=int, default=2, help="processes side by side")
    parser.add_argument("--only", default="", help="groups whose name contains this")
    parser.add_argument("--half", choices=list(VOICES), default="report", help="fit: to choose by, not to report")
    parser.add_argument("--show", action="store_true", help="measure nothing, show what there is")
    args = parser.parse_args()
    audio = args.audio or (BESIDE if BESIDE.is_dir() else shared_file("audio"))
    share = 0.0 if args.quick else args.share
    args.out.mkdir(parents=True, exist_ok=True)
    state = fingerprint(audio)
    kept = args.out / (f"rows-{state}.jsonl" if args.half == "report" else f"rows-{state}-{args.half}.jsonl")
    take(args.half)
    every = {name: g for name, g in groups(audio).items() if args.only in name}
    timing = {TIMING: timing_group(audio)} if args.only in TIMING else {}
    if not args.show:
        if args.only in MEMORY:
            measure_memory(kept, args.out)
        # Times alone: one process that has both cores.
        measure(wanted(timing, max(share, 0.2)), audio, kept, args.out, jobs=1, half=args.half)
        measure(wanted(every, share), audio, kept, args.out, args.jobs, half=args.half)
    tasks = {*wanted(every, share), *wanted(timing, max(share, 0.2)), (MEMORY, 0)}
    rows = [row for row in read_rows(kept) if args.show or (row["group"], row["number"]) in tasks]
    found = lines(rows)
    wrong, missed = mistakes(rows), curves(rows, found)
    result = {
        "state": state, "share": share, "cores": os.cpu_count(), "machine": platform.machine(),
        "audio": audio.name, "figures": [asdict(line) for line in found], "curves": missed,
        "mistakes": wrong,
        "by": {key: shares(rows, key) for key in ("said", "voice", "step")},
    }  # fmt: skip
    (args.out / "hearing.json").write_text(json.dumps(result, indent=1) + "\n")
    console = Console(width=max(150, Console().width))
    show(found, console)
    show_curves(missed, console)
    show_weak(rows, console)
    show_mistakes(wrong, console)


if __name__ == "__main__":
    main()
