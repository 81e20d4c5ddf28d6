"""How long the account of ten thousand incidents takes, and how much memory.

    python tests/bench/bench_many.py [--count N] [--seed N] [--folder DIR] [--engine duckdb|spark] [--json]

The incidents are simulated emergencies of the real core (`incidents.py`), of about 300 events each, in
300 homes and two flow versions; one in 200 is damaged. They are made once (about two minutes for 10,000)
and kept in --folder, if one is given. Measured is the whole command in a new process: reading and
verifying every journal, the questions, page, CSV and Parquet. Exit code 1 beyond the aim, or if the
counts are not those that were made.
"""

import argparse
import csv
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import incidents

AIM_S, AIM_COUNT = 10.0, 10_000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=AIM_COUNT)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where the journals are made, and kept")
    parser.add_argument("--engine", default="duckdb")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as work:
        folder = given.folder or Path(work) / "journals"
        made_file = folder / "made.json"
        if made_file.exists():
            made = json.loads(made_file.read_text())
        else:
            print(f"making {given.count} journals in {folder}", file=sys.stderr)
            made = incidents.write(folder, given.count, given.seed, distinct=150)
        found = measured(folder, Path(work) / "account", given.engine)
    found |= {"journals": made["journals"], "events": made["events"], "damaged": made["damaged"]}
    found["counts_hold"] = found["set_apart"] == made["damaged"]
    found["holds"] = found["counts_hold"] and (found["took_s"] <= AIM_S or made["journals"] < AIM_COUNT)
    if given.json:
        print(json.dumps(found))
    else:
        print(
            f"{made['journals']} journals, {made['events']} events: {found['took_s']:.1f} s "
            f"({found['computing_s']:.1f} s of computing on {os.cpu_count()} cores; aim {AIM_S:g} s for {AIM_COUNT}), "
            f"{found['set_apart']} set apart of {made['damaged']} damaged, {found['largest_mb']:.0f} MB the largest process"
        )
    return 0 if found["holds"] else 1


def measured(folder: Path, out: Path, engine: str) -> dict[str, float]:
    """The whole command, imports included."""
    before, began_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-m", "prompter.cli", "review", "--many", str(folder), "--out", str(out), "--engine", engine]
    ended = subprocess.run(command, check=False, capture_output=True, text=True)
    took_s = time.perf_counter() - began_s
    if ended.returncode not in (0, 1):
        sys.exit(ended.stderr)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    with (out / "set-apart.csv").open(encoding="utf-8", newline="") as file:
        apart = sum(1 for _ in csv.DictReader(file))
    return {
        "took_s": round(took_s, 2),
        "computing_s": round(used.ru_utime + used.ru_stime - before.ru_utime - before.ru_stime, 2),
        "set_apart": apart,
        "largest_mb": round(used.ru_maxrss / 1000),
    }


if __name__ == "__main__":
    sys.exit(main())
