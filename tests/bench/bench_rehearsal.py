"""Rehearses every script with several seeds, in a quiet room and with crying, and prints the figures.

    python tests/bench/bench_rehearsal.py [--seeds 5] [--results FOLDER] [--fresh]

Can be interrupted: what was rehearsed is kept in the results folder and not done again.
Aims: reply p50 <= 350 ms and p95 <= 600 ms; believed at the first try >= 95% quiet, >= 85% with
crying at 10 dB; wrong branches 0; a rehearsal of about five simulated minutes <= 20 s.
"""

import argparse
import json
import os
import platform
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from prompter.hear.measure.bounds import upper_bound

CONDITIONS: dict[str, dict[str, Any]] = {
    "quiet": {},
    "crying, 10 dB": {"noise": "baby-cry", "snr_db": 10.0},
}
RESULTS = Path(__file__).parent / "results" / "rehearsal"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--results", type=Path, default=RESULTS)
    parser.add_argument("--fresh", action="store_true", help="forget what was rehearsed before")
    arguments = parser.parse_args()
    arguments.results.mkdir(parents=True, exist_ok=True)
    found: dict[str, list[dict[str, Any]]] = {name: [] for name in CONDITIONS}
    for condition, extra in CONDITIONS.items():
        for seed in range(arguments.seeds):
            found[condition] += _rehearsed(condition, extra, seed, arguments.results, arguments.fresh)
            _print_line(condition, seed, found[condition])
    summary = {name: _figures(rehearsals) for name, rehearsals in found.items()}
    machine = {"cores": os.cpu_count(), "machine": platform.machine(), "python": platform.python_version()}
    (arguments.results / "summary.json").write_text(json.dumps({**machine, "conditions": summary}, indent=1))
    _print_table(summary)


def _rehearsed(condition: str, extra: dict[str, Any], seed: int, results: Path, fresh: bool) -> list[dict[str, Any]]:
    from prompter.practise.batch import Request, run_batch
    from prompter.practise.script import scripts

    done = []
    for path in scripts():
        kept = results / f"{path.stem}-{condition.replace(', ', '-').replace(' ', '')}-{seed}.json"
        if fresh or not kept.exists():
            with tempfile.TemporaryDirectory() as out:
                request = Request(scripts=[str(path)], seed=seed, out=Path(out), **extra)
                result = run_batch(request, Console(stderr=True), quiet=True, now=datetime.now().astimezone())
            kept.write_text(json.dumps(result["rehearsals"][0]))
        done.append(json.loads(kept.read_text()))
    return done


def _figures(rehearsals: list[dict[str, Any]]) -> dict[str, Any]:
    answers = [a for r in rehearsals for a in r["answers"] if a["answer"]]
    first = [a for a in answers if a["first_try"]]
    replies = sorted(a["reply_ms"] for r in rehearsals for a in r["answers"] if a["reply_ms"] is not None and a["over"] is None)
    over = sorted(a["reply_ms"] for a in answers if a["reply_ms"] is not None and a["over"] is not None)
    wrong = sum(r["wrong_branches"] for r in rehearsals)
    taken = sum(1 for a in answers if a["believed"])
    percentile = lambda values, p: int(np.percentile(values, p)) if values else None
    return {
        "rehearsals": len(rehearsals),
        "as_expected": sum(r["as_expected"] for r in rehearsals),
        "not_as_expected": [f"{r['script']} seed {r['seed']}: {r['outcome']}, asked again {r['asked_again']}, assumed {r['assumed']}" for r in rehearsals if not r["as_expected"]],
        "first_try_believed": sum(a["believed"] for a in first), "first_try_n": len(first),
        "wrong_branches": wrong, "believed_answers": taken, "wrong_upper_bound": round(upper_bound(wrong, taken), 4),
        "reply_p50_ms": percentile(replies, 50), "reply_p95_ms": percentile(replies, 95), "reply_n": len(replies),
        "over_p50_ms": percentile(over, 50), "over_p95_ms": percentile(over, 95), "over_n": len(over),
        "slowest_wall_s": max(r["wall_s"] for r in rehearsals),
        "simulated_s": round(sum(r["simulated_s"] for r in rehearsals)), "wall_s": round(sum(r["wall_s"] for r in rehearsals)),
    }  # fmt: skip


def _print_line(condition: str, seed: int, rehearsals: list[dict[str, Any]]) -> None:
    figures = _figures(rehearsals)
    print(
        f"{condition}, seeds to {seed}: {figures['as_expected']}/{figures['rehearsals']} as expected, "
        f"first try {figures['first_try_believed']}/{figures['first_try_n']}, wrong {figures['wrong_branches']}, "
        f"reply p50 {figures['reply_p50_ms']} p95 {figures['reply_p95_ms']} ms", flush=True,
    )  # fmt: skip


def _print_table(summary: dict[str, dict[str, Any]]) -> None:
    table = Table("figure", *summary)
    for name in next(iter(summary.values())):
        if name != "not_as_expected":
            table.add_row(name, *(str(figures[name]) for figures in summary.values()))
    table.add_row("first try, share", *(f"{f['first_try_believed'] / max(1, f['first_try_n']):.1%}" for f in summary.values()))
    Console().print(table)
    for condition, figures in summary.items():
        for line in figures["not_as_expected"]:
            print(f"not as expected, {condition}: {line}")


if __name__ == "__main__":
    main()
