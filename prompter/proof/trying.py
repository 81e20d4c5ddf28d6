"""Tries mutants against the whole check; can be interrupted, and goes on where it was.

A mutant is caught by the first thing that notices it: the flow's file is refused, a row of the clinical tables
differs, or a property fails on a walk. One that nothing notices is harmless only if both whole walks give the
very same cues; else it survives.
"""

import json
import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from pathlib import Path as FilePath
from typing import Any

from prompter.errors import CannotDo
from prompter.flow.consistency import findings
from prompter.flow.document import Flow
from prompter.proof.check import PARTS, walk_one
from prompter.proof.clinical import look_at_rows
from prompter.proof.found import Path
from prompter.proof.mutants import Mutant, mutants_of
from prompter.proof.walk import Part, Walk
from prompter.proof.watch import Findings

CAUGHT, REFUSED, HARMLESS, SURVIVES = "caught", "refused", "harmless", "survives"
REFUSED_FILE = "the flow's file is refused"
NEAR_MOVES = 6_000
"""Moves from just before a fault, before everything is walked."""


@dataclass(frozen=True)
class Tried:
    """`outcome`: one of the four above; `detail`: what noticed it."""

    number: int
    what: str
    operator: str
    outcome: str
    detail: str = ""


@dataclass
class Tally:
    tried: list[Tried] = field(default_factory=list)
    of: int = 0  # all mutants of the flow
    seconds: float = 0.0

    def those(self, outcome: str) -> list[Tried]:
        return [t for t in self.tried if t.outcome == outcome]

    @property
    def share(self) -> float:
        """Of those that are not harmless, how many are noticed."""
        harmful = [t for t in self.tried if t.outcome != HARMLESS]
        return sum(t.outcome != SURVIVES for t in harmful) / len(harmful) if harmful else 1.0

    def by(self) -> dict[str, int]:
        """What noticed how many."""
        counts: dict[str, int] = {}
        for one in self.tried:
            if one.outcome in (CAUGHT, REFUSED):
                counts[one.detail] = counts.get(one.detail, 0) + 1
        return counts


def try_all(
    flow: Flow, every: int = 1, kept: FilePath | None = None, progress: Callable[[int, int], None] = lambda done, of: None, tables: bool = True
) -> Tally:
    """Every n-th mutant, two processes. `kept`: a file of outcomes, so that a later run goes on; raises CannotDo if it is none.

    `tables`: what is written down a second time is asked first. Without it only the texts and walks are, which shows
    what the properties notice by themselves.
    """
    mutants = list(mutants_of(flow.model_dump(by_alias=True)))
    chosen = list(range(0, len(mutants), every))
    state = _state(flow) + ("" if tables else "-walks")
    known = _read(kept, state, mutants) if kept else {}
    tally = Tally(of=len(mutants))
    todo = [n for n in chosen if n not in known]
    for done, tried in enumerate(_try_these(flow, todo, tables), start=1):
        known[tried.number] = tried
        if kept:
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps({"state": state, **asdict(tried)}, ensure_ascii=False) + "\n")
        progress(len(chosen) - len(todo) + done, len(chosen))
    tally.tried = [known[n] for n in chosen]
    return tally


def _state(flow: Flow) -> str:
    """Outcomes hold for this flow and these properties alone."""
    digest = sha256(flow.model_dump_json(by_alias=True).encode())
    for folder in (FilePath(__file__).parent, FilePath(__file__).parents[1] / "flow"):
        for file in sorted(folder.rglob("*")):
            if file.suffix in (".py", ".yaml"):
                digest.update(file.read_bytes())
    return digest.hexdigest()[:16]


def _read(kept: FilePath, state: str, mutants: Sequence[Mutant]) -> dict[int, Tried]:
    if not kept.exists():
        return {}
    known = {}
    lines = kept.read_text(encoding="utf-8").splitlines()
    for at, line in enumerate(lines, start=1):
        try:
            body = json.loads(line)
            if body.pop("state") == state:
                tried = Tried(**body)
                if mutants[tried.number].what == tried.what:
                    known[tried.number] = tried
        except (ValueError, TypeError, KeyError, IndexError, AttributeError):
            if at < len(lines):  # the last one may be torn
                raise CannotDo(f"line {at} is no outcome of a mutant.", str(kept), "Name a new file, or one that `prompter flow mutants --keep` has written.") from None
    return known


_FLOW: dict[str, Any] = {}
"""What the two processes begin with: the flow, its mutants, its cues, and ways to each of its steps."""


def _try_these(flow: Flow, numbers: Sequence[int], tables: bool = True) -> Iterator[Tried]:
    """What needs no walk first: without any that does, the flow itself is not walked either."""
    data = flow.model_dump(by_alias=True)
    mutants, to_walk = list(mutants_of(data)), []
    for number in numbers:
        told = _told_at_once(mutants[number], data, tables)
        if told:
            yield Tried(number, mutants[number].what, mutants[number].operator, *told)
        else:
            to_walk.append(number)
    if not to_walk:
        return
    _prepare(flow)
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("fork")) as pool:
        try:
            yield from pool.map(_try, to_walk)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _prepare(flow: Flow) -> None:
    data = flow.model_dump(by_alias=True)
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("fork")) as pool:
        itself = list(pool.map(_walk_itself, [flow] * len(PARTS), *zip(*PARTS, strict=True)))
    entries: dict[str, list[Path]] = {}
    for _, found in itself:
        for step, ways in found.items():
            entries.setdefault(step, []).extend(ways)
    _FLOW.update(data=data, mutants=list(mutants_of(data)), cues=[cues for cues, _ in itself], entries=entries)


def _walk_itself(flow: Flow, age: str, part: Part) -> tuple[str, dict[str, list[Path]]]:
    walk = Walk(flow, age, digest=True, part=part, keep_entries=True)
    return walk.run().cues, walk.entries


def _try(number: int) -> Tried:
    mutant = _FLOW["mutants"][number]
    outcome, detail = _outcome(mutant)
    return Tried(number, mutant.what, mutant.operator, outcome, detail)


def _told_at_once(mutant: Mutant, data: Any, tables: bool = True) -> tuple[str, str] | None:
    """By the file or, with `tables`, what is written down a second time."""
    try:
        flow = Flow.model_validate(mutant.of(data))
        found = findings(flow)
    except (ValueError, KeyError, CannotDo):
        return REFUSED, REFUSED_FILE
    if found:
        return REFUSED, REFUSED_FILE
    rows = Findings()
    if tables:
        look_at_rows(flow, rows)
    return (CAUGHT, next(iter(rows.failed))) if rows.failed else None


def _outcome(mutant: Mutant) -> tuple[str, str]:
    try:
        return _walked(Flow.model_validate(mutant.of(_FLOW["data"])), mutant)
    except Exception as error:  # noqa: BLE001 - a table that cannot be laid out is caught
        return REFUSED, f"the table is refused ({type(error).__name__})"


def _walked(flow: Flow, mutant: Mutant) -> tuple[str, str]:
    """From just before the fault first, which is quick; then everything."""
    near = _FLOW["entries"].get(mutant.step) or [way for ways in _FLOW["entries"].values() for way in ways[:2]]
    for age, part in PARTS:
        found = Walk(flow, age, stop_at_first=True, part=part).run_from([way for way in near if way.age == age], NEAR_MOVES)
        if found.findings.failed:
            return CAUGHT, next(iter(found.findings.failed))
    same = True
    for (age, part), cues in zip(PARTS, _FLOW["cues"], strict=True):
        seen = walk_one(flow, age, part, stop_at_first=True, digest=True, tables=False)[0]  # they were asked, or are not to be
        if seen.findings.failed:
            return CAUGHT, next(iter(seen.findings.failed))
        same = same and seen.cues == cues
    return (HARMLESS, "") if same else (SURVIVES, "")
