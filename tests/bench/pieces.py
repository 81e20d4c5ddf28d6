"""Measures many cases, two at a time, keeping each row at once so that it can be interrupted."""

import hashlib
import json
import multiprocessing
import signal
import sys
import time
from math import ceil
from pathlib import Path

from cases import Group, groups, take, timing_group
from hearing_rows import Listener, ModelLost, Row
from memory import memory_mb
from wordings import known, places, tables

LEAST_CASES = 16
"""Of each group even in the shortest run."""

TIMING = "timing: two cores"
MEMORY = "memory: one ear"

_SOUND_CODE = ("sounds", "rooms", "wordings", "talk", "cases", "hearing_rows")
_worker: tuple[Listener, dict[str, Group]] | None = None


def fingerprint(audio: Path) -> str:
    """Changes with the hearing, with what is listened for, with the sounds: rows of another state are not mixed in.

    Where an answer leads is not heard: a change of that alone leaves the rows as they are.
    """
    here, digest = Path(__file__).parent, hashlib.sha256()
    package = here.parent.parent / "prompter"
    files = [here / f"{name}.py" for name in _SOUND_CODE]
    files += [*sorted((package / "hear").glob("*.py")), package / "limits.py"]
    files += [package / "hear" / "measure" / f"{name}.py" for name in ("mixing", "recordings")]
    for path in files:
        digest.update(path.read_bytes())
    digest.update(repr(known()).encode())
    for plan in tables():
        for place in (*places(plan), *places(plan, visits=True)):
            digest.update(repr((plan, place.name, place.allowed, sorted(place.own), place.asks_number)).encode())
    for path in sorted(audio.rglob("*.*")):
        digest.update(f"{path.relative_to(audio)} {path.stat().st_size}".encode())
    return digest.hexdigest()[:10]


def wanted(every: dict[str, Group], share: float) -> list[tuple[str, int]]:
    """(group, number) of the first `share` of each group, all groups side by side."""
    tasks = []
    for group in every.values():
        count = min(group.n, max(LEAST_CASES, ceil(group.n * share)))
        tasks += [((number + 0.5) / group.n, group.name, number) for number in range(count)]
    return [(name, number) for _, name, number in sorted(tasks)]


def read_rows(path: Path) -> list[Row]:
    """Those kept so far; a line that an interruption cut is left out."""
    rows = []
    for line in path.read_text().splitlines() if path.exists() else []:
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError:
            continue
    return rows


def measure(
    tasks: list[tuple[str, int]], audio: Path, kept: Path, cache: Path, jobs: int, half: str = "report",
) -> None:
    """Appends a row to `kept` for every task that has none yet."""
    done = {(row["group"], row["number"]) for row in read_rows(kept)}
    left = [task for task in tasks if task not in done]
    if not left:
        return
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("interrupted; run it again to go on"))
    began = time.monotonic()
    context = multiprocessing.get_context("spawn")
    with (
        context.Pool(jobs, _begin, (audio, cache, left[0][0] == TIMING, half)) as pool,
        kept.open("a") as file,
    ):
        if kept.stat().st_size:
            file.write("\n")  # the last line may have been cut by an interruption
        try:
            for count, row in enumerate(pool.imap_unordered(_row, left, chunksize=2), start=1):
                file.write(json.dumps(row) + "\n")
                file.flush()
                if count % 250 == 0:
                    each_s = (time.monotonic() - began) / count
                    minutes = each_s * (len(left) - count) / 60
                    print(f"{count} of {len(left)}, {minutes:.0f} min left", file=sys.stderr, flush=True)
        except ModelLost as lost:
            sys.exit(f"{lost}: what is kept is whole; run it again to go on")


def _begin(audio: Path, cache: Path, timing: bool, half: str) -> None:
    """In each process. Where times are measured nothing else is loaded."""
    global _worker
    take(half)
    every = {TIMING: timing_group(audio)} if timing else groups(audio)
    _worker = Listener(cache), every


def _row(task: tuple[str, int]) -> Row:
    listener, every = _worker
    return listener.row(every[task[0]], task[1])


def measure_memory(kept: Path, cache: Path) -> None:
    """Appends the row of one ear's memory unless it is there."""
    if any(row["group"] == MEMORY for row in read_rows(kept)):
        return
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        before_mb, ready_mb, most_mb = pool.apply(memory_mb, (cache,))
    row = {"group": MEMORY, "number": 0, "before_mb": before_mb, "ready_mb": ready_mb}
    with kept.open("a") as file:
        file.write("\n" + json.dumps(row | {"memory_mb": most_mb}) + "\n")
