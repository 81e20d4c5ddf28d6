"""Breaks everything around the real runner, at random, and looks whether it held.

    python tests/bench/bench_faults.py [--runs 100] [--seed 1] [--short] [--out FILE] [--fresh]

Each run is one emergency of about three minutes on the virtual clock with 3 to 8 faults: loudspeaker
or microphone gone and back (renamed, at 8, 16, 44.1 or 48 kHz, mono or stereo), stalled, xruns, no
default device, a recogniser that raises, hangs or is gone, the voice's engine dead, screen and disk
gone, the machine asleep or held up, the clock set. What must hold stands in tests/live/sequences.py.
The seed of a run that does not hold is printed; `--runs 1 --seed N` runs it again. Exit code 1 then.
Each outcome is kept at once beside --out: an interrupted call goes on there, while the code is the same.
"""

import argparse
import collections
import hashlib
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from live_helpers import live_helper
from rich.console import Console
from rich.table import Table

SHORT = 6
ROOT = Path(__file__).resolve().parent.parent.parent


def code_now() -> str:
    """Changes with the program and what breaks it: outcomes of another state are not mixed in."""
    digest = hashlib.sha256()
    for path in sorted([*(ROOT / "prompter").rglob("*.py"), *(ROOT / "tests" / "live").glob("*.py")]):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:10]


def read_kept(kept: Path) -> list[dict[str, Any]]:
    """Outcomes of an interrupted call; a line it could not end is left out."""
    lines = kept.read_text(encoding="utf-8").split("\n")[:-1] if kept.exists() else []
    return [json.loads(line) for line in lines]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1, help="of the first run; the next ones count on")
    parser.add_argument("--short", action="store_true", help=f"{SHORT} runs")
    parser.add_argument("--out", type=Path, help="write the figures here as JSON")
    parser.add_argument("--fresh", action="store_true", help="forget what was measured before")
    arguments = parser.parse_args()
    runs = SHORT if arguments.short else arguments.runs
    seeds = range(arguments.seed, arguments.seed + runs)
    kept = arguments.out.with_name(f"{arguments.out.stem}-{code_now()}.jsonl") if arguments.out else Path(os.devnull)
    if arguments.fresh and arguments.out:
        kept.unlink(missing_ok=True)
    before = [one for one in read_kept(kept) if one["seed"] in seeds] if arguments.out else []
    done = {one["seed"] for one in before}
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="bench-faults-") as name:
        folder = Path(name)
        os.environ["PROMPTER_HOME"] = str(folder / "home")
        plan = live_helper("caregiver").write_plan(folder / "plan.yaml")
        with kept.open("a", encoding="utf-8") as file:

            def tell(one: dict[str, Any]) -> None:
                print(f"{one['seed']}: {'held' if one['held'] else one['why']}", file=sys.stderr, flush=True)
                file.write(json.dumps(one) + "\n")
                file.flush()

            outcomes = before + live_helper("sequences").run_many([n for n in seeds if n not in done], folder, plan, tell)
    held = [one for one in outcomes if one["held"]]
    faults = collections.Counter(fault.rsplit(" at ", 1)[0] for one in held for fault in one["faults"])
    table = Table("figure", "measured", title="Sequences of faults on the virtual clock")
    table.add_row("sequences held", f"{len(held)} of {len(outcomes)}")
    table.add_row("faults survived", str(sum(faults.values())))
    table.add_row("beats given", str(sum(one["beats"] for one in held)))
    table.add_row("longest silence while a loudspeaker was there, s", str(max((one["longest_silent_s"] for one in held), default=0)))
    table.add_row("seconds", f"{time.monotonic() - began_s:.0f}")
    for what, count in sorted(faults.items()):
        table.add_row(f"  {what}", str(count))
    Console().print(table)
    for one in outcomes:
        if not one["held"]:
            print(f"NOT HELD: {one['why']}")
    if arguments.out:
        arguments.out.write_text(json.dumps({"outcomes": outcomes, "faults": faults}, indent=1) + "\n", encoding="utf-8")
    if len(held) < len(outcomes):
        sys.exit(1)


if __name__ == "__main__":
    main()
