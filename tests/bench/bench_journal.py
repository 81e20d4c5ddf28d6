"""Measures the journal and the account: append with flush, page of about 600 events.

Run: python tests/bench/bench_journal.py. Prints a table, and with --json one JSON object. The disk
is the one that holds --folder (default: the temporary folder).
"""

import argparse
import importlib.util
import json
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from prompter.journal import BackgroundWriter, Journal, read
from prompter.review import build, render

EVENT = {
    "kind": "say",
    "at_ms": 83_400,
    "cue": 41,
    "text": "Pull out the old one, along its curve.",
    "role": "care",
    "step": "tube-out",
}


def percentiles(values_ms: list[float]) -> dict[str, float]:
    ordered = sorted(values_ms)
    return {
        "p50": round(ordered[len(ordered) // 2], 3),
        "p95": round(ordered[int(len(ordered) * 0.95)], 3),
    }


def appends(folder: Path, number: int) -> dict[str, float]:
    journal = Journal.create(folder / "append.jsonl", {"kind": "opened"})
    taken = []
    for n in range(number):
        begun = time.perf_counter()
        journal.append(EVENT, datetime.now(UTC), n)
        taken.append((time.perf_counter() - begun) * 1000)
    journal.close()
    return percentiles(taken)


def background_appends(folder: Path, number: int) -> dict[str, float]:
    """What a prompt waits, with a pause between events as in an emergency."""
    writer = BackgroundWriter(Journal.create(folder / "background.jsonl", {"kind": "opened"}))
    taken = []
    for n in range(number):
        begun = time.perf_counter()
        writer.append(EVENT, datetime.now(UTC), n)
        taken.append((time.perf_counter() - begun) * 1000)
        time.sleep(0.005)
    writer.close()
    return percentiles(taken)


def page(folder: Path) -> dict[str, float]:
    """Reading, building and rendering a journal of about 600 events, as a fresh process does it."""
    spec = importlib.util.spec_from_file_location(
        "sample", Path(__file__).parents[1] / "review" / "sample.py"
    )
    sample = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sample)
    story = sample.blocked_tube()
    story.events = [event for event in story.events if event[1]["kind"] != "closed"]
    for n in range(12):  # keep bagging for six minutes more
        story.say(300 + 30 * n, "Bag on. Keep squeezing.", "keep-bagging").paced(
            302 + 30 * n, "breaths", 20, 8
        )
        for k in range(3):
            story.hears(306 + 30 * n + 7 * k, "chest's moving", "rising").moved(
                307 + 30 * n + 7 * k, "look", "keep-bagging", "spoken", "rising"
            )
    path = story.at(665, "closed", outcome="handed over").write(folder / "page.jsonl")
    begun = time.perf_counter()
    incident = build(read(path), path.name)
    text = render(incident)
    return {
        "events": len(incident.events),
        "first_s": round(time.perf_counter() - begun, 3),
        "kilobytes": round(len(text.encode()) / 1000),
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--number", type=int, default=500)
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        found = {
            "append_ms": appends(folder, options.number),
            "background_append_ms": background_appends(folder, options.number),
            "page": page(folder),
        }
    if options.json:
        print(json.dumps(found))
        return 0
    print(
        f"append with flush             p50 {found['append_ms']['p50']:7.2f} ms   p95 {found['append_ms']['p95']:7.2f} ms   (aim: p95 <= 10)"
    )
    b = found["background_append_ms"]
    print(
        f"append in the background      p50 {b['p50']:7.2f} ms   p95 {b['p95']:7.2f} ms   (aim: <= 20)"
    )
    p = found["page"]
    print(
        f"page of {p['events']} events            {p['first_s']:7.2f} s    {p['kilobytes']:8d} kB   (aim: <= 1 s, <= 500 kB)"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
