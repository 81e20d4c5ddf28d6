"""Measures answers over the prompter's own voice and tones, how fast it falls silent, and whether it
takes itself for somebody.

    python tests/bench/bench_echo.py [--short | --runs 60 --tone-runs 30 --minutes 60] [--echo 0]

Can be interrupted: each row is kept in the results folder as it comes, and a later call goes on. The
caregivers' voices and the rooms tuned nothing (REPORT_VOICES; image sources where the extra `bench` is
there). Aims: over its voice at equal loudness >= 80% believed within one repeat, wrong <= 0.5%; over
pacing tones >= 95%; silent within 150 ms (p95); its own voice taken for an answer: 0.
"""

import argparse
import json
import os
import platform
import time
from pathlib import Path
from typing import Any

import numpy as np
from echo_runs import PACES, alone_run, answers_run
from rich.console import Console
from rich.table import Table

from prompter.hear.measure.bounds import upper_bound

RESULTS = Path(__file__).parent / "results" / "echo"
MINUTES_A_RUN = 2.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--short", action="store_true", help="a sample of each, at most 90 s")
    parser.add_argument("--runs", type=int, default=60, help="of ten answers over its voice")
    parser.add_argument("--tone-runs", type=int, default=30, help="of ten answers over tones")
    parser.add_argument("--minutes", type=float, default=60.0, help="of prompts alone")
    parser.add_argument("--echo", type=float, default=0.0, help="the prompter in the microphone against the caregiver, dB")
    parser.add_argument("--results", type=Path, default=None)
    parser.add_argument("--fresh", action="store_true", help="forget what was measured before")
    parser.add_argument("--part", default="0/1", help="of the runs take every n-th from the k-th: k/n")
    arguments = parser.parse_args()
    if arguments.short:
        arguments.runs, arguments.tone_runs, arguments.minutes = 2, 1, 2.0
    results = arguments.results or RESULTS / ("short" if arguments.short else "long")
    results.mkdir(parents=True, exist_ok=True)
    part, parts = map(int, arguments.part.split("/"))
    kept = results / f"rows{arguments.echo:+g}-{part}of{parts}.jsonl"
    if arguments.fresh or arguments.short:
        kept.unlink(missing_ok=True)
    began = time.perf_counter()
    measure(arguments, kept, part, parts)
    rows = [row for path in sorted(results.glob(f"rows{arguments.echo:+g}-*.jsonl")) for row in _read(path)]
    found = figures(rows)
    found["conditions"]["wall_s"] = round(time.perf_counter() - began)
    (results / f"echo{arguments.echo:+g}.json").write_text(json.dumps(found, indent=1) + "\n")
    show(found)


def measure(arguments: argparse.Namespace, kept: Path, part: int, parts: int) -> None:
    """Every run that is not there yet."""
    from prompter.care.place import cache_folder
    from prompter.hear.ears import loaded_ears

    done = {(row["over"], row["run"]) for row in _read(kept)}
    wanted: list[tuple[str, int]] = [("voice", number) for number in range(arguments.runs)]
    wanted += [(list(PACES)[number % len(PACES)], number) for number in range(arguments.tone_runs)]
    wanted += [("alone", number) for number in range(round(arguments.minutes / MINUTES_A_RUN))]
    wanted = [one for index, one in enumerate(wanted) if index % parts == part and one not in done]
    ears = loaded_ears(cache_folder(), tell=print) if wanted else []
    with kept.open("a") as file:
        for over, number in wanted:
            if over == "alone":
                rows = [alone_run(ears, number, MINUTES_A_RUN, arguments.echo)]
            else:
                rows = list(answers_run(ears, number, over, arguments.echo))
            file.writelines(json.dumps(row) + "\n" for row in rows)
            file.flush()
            print(over, number, _line(rows), flush=True)


def _line(rows: list[dict[str, Any]]) -> str:
    if rows[0]["over"] == "alone":
        return f"taken {len(rows[0]['taken_own'])}, unclear {len(rows[0]['unclear'])}, cut {rows[0]['cut']}"
    right = sum(row["taken"] == row["answer"] for row in rows)
    wrong = [f"{row['said']} as {row['taken']}" for row in rows if row["taken"] not in (None, row["answer"])]
    return f"{right}/{len(rows)} believed, wrong: {wrong or 'none'}, {rows[-1]['left_db']} dB left"


def _read(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text().splitlines() if line.endswith("}")]


def figures(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Each figure with its n, its aim and whether it is reached."""
    lines = []
    groups = {"over its voice": (lambda row: row["over"] == "voice", 0.80), "over pacing tones": (lambda row: row["over"] in PACES, 0.95)}
    for name, (belongs, aim) in groups.items():
        some = [row for row in rows if belongs(row)]
        n, right = len(some), sum(row["taken"] == row["answer"] for row in some)
        wrong = sum(row["taken"] not in (None, row["answer"]) for row in some)
        if n:
            lines.append(_figure(f"believed within one repeat, {name}", n, f"{right / n:.1%}", f">= {aim:.0%}", right / n >= aim))
            lines.append(_figure(f"wrong, {name}", n, f"{wrong} ({wrong / n:.2%}, at most {upper_bound(wrong, n):.2%})", "<= 0.5%", wrong / n <= 0.005))
    silent = [ms for row in rows if row["over"] == "voice" for ms in row["silent_ms"]]
    given_way = [ms for ms in silent if ms is not None]
    if given_way:
        p50, p95 = np.percentile(given_way, [50, 95])
        lines.append(_figure("silent within", len(given_way), f"p50 {p50:.0f} ms, p95 {p95:.0f} ms", "p95 <= 150 ms", p95 <= 150))
        lines.append(_figure("spoken on", len(silent), str(len(silent) - len(given_way)), "", None))
    alone = [row for row in rows if row["over"] == "alone"]
    if alone:
        minutes, taken = sum(row["minutes"] for row in alone), sum(len(row["taken_own"]) for row in alone)
        unclear, _, cut = (sum(row[k] if isinstance(row[k], int) else len(row[k]) for row in alone) for k in ("unclear", "onsets", "cut"))
        lines.append(_figure(f"own voice taken for an answer, {minutes:g} minutes", len(alone), str(taken), "0", taken == 0))
        lines.append(_figure("own voice heard as something unclear", len(alone), f"{unclear} (prompts cut {cut})", "", None))
    rooms = sorted({row["room"] for row in rows})
    return {"figures": lines, "conditions": {"rooms": rooms, "cores": os.cpu_count(), "machine": platform.machine()}}


def _figure(name: str, n: int, value: str, aim: str, held: bool | None) -> dict[str, Any]:
    return {"figure": name, "n": n, "value": value, "aim": aim, "held": None if held is None else bool(held)}


def show(found: dict[str, Any]) -> None:
    table = Table("figure", "n", "reached", "aim", "held")
    for line in found["figures"]:
        held = {None: "", True: "held", False: "missed"}[line["held"]]
        table.add_row(line["figure"], str(line["n"]), line["value"], line["aim"], held)
    console = Console(width=max(110, Console().width))
    console.print(table)
    console.print(f"rooms: {', '.join(found['conditions']['rooms'])}; simulated throughout, no real loudspeaker", highlight=False)


if __name__ == "__main__":
    main()
