"""The whole check of one flow: both walks beside each other, silence, and the texts."""

import gc
import multiprocessing
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

from prompter.flow.document import Flow
from prompter.flow.table import build
from prompter.proof import clinical, properties, silence, texts
from prompter.proof.found import Path, Walked
from prompter.proof.properties.property import Property
from prompter.proof.silence import walk_silence
from prompter.proof.texts import look_at_texts
from prompter.proof.variants import combinations, open_variant
from prompter.proof.walk import LATE, MOVES, WORDS, Part, Walk

PARTS: tuple[tuple[str, Part], ...] = (("child", MOVES), ("adult", WORDS))
LATE_PARTS: tuple[tuple[str, Part], ...] = (("child", MOVES), ("adult", LATE))
"""The ages walked, and what each walk does. An infant's beats and suction seconds are a child's; only the push ratio may differ, which no step asks for."""
PROPERTIES: tuple[Property, ...] = (*silence.PROPERTIES, *properties.ON_THE_WALK, *texts.PROPERTIES, *clinical.PROPERTIES)


@dataclass
class Result:
    """One property's outcome over all walks."""

    prop: Property
    looked: int = 0
    worst: float | None = None
    failed: str | None = None
    path: Path | None = None


@dataclass
class Checked:
    """What was covered, and what holds."""

    flow: str
    variants: int = 0
    left_out: int = 0
    plans: int = 0
    silent_plans: int = 0
    states: int = 0
    moves: int = 0
    depth: int = 0
    seconds: float = 0.0
    megabytes: int = 0
    cues: str = ""
    results: list[Result] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        return not any(r.failed for r in self.results)


def walk_one(flow: Flow, age: str, part: Part = MOVES, stop_at_first: bool = False, digest: bool = False, only: str | None = None, tables: bool = True) -> tuple[Walked, int, int]:
    """One age: its texts, its silence, its walk; the plans silence tells apart, and memory in MB.

    `tables`: the flow is also compared with what is written down a second time.
    """
    gc.collect()
    gc.freeze()
    gc.disable()
    found, apart = _walked(flow, age, part, stop_at_first, digest, only, tables)
    gc.enable()  # all that was walked is gone: nothing to be gone through
    return found, apart, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def _walked(flow: Flow, age: str, part: Part, stop_at_first: bool, digest: bool, only: str | None, tables: bool) -> tuple[Walked, int]:
    table = build(flow, open_variant(age))
    walk = Walk(flow, age, stop_at_first=stop_at_first, digest=digest, part=part, table=table, only=only)
    found = walk.found
    look_at_texts(flow, table, found)
    if tables:
        clinical.look_at_rows(flow, found.findings)
    apart = walk_silence(flow, table, age, found)
    if only or not (stop_at_first and found.findings.failed):
        walk.run()
    return found, apart


def check(flow: Flow, late: bool = True) -> Checked:
    """Everything; two processes. `late`: with the time that breaths have been missing told apart, which takes half as long again."""
    parts = LATE_PARTS if late else PARTS
    began = time.perf_counter()
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("fork")) as pool:
        walks = list(pool.map(walk_one, [flow] * len(parts), *zip(*parts, strict=True)))
    variants, left_out = combinations()
    checked = Checked(flow.flow, variants, left_out)
    results = {p.name: Result(p) for p in PROPERTIES}
    for found, apart, megabytes in walks:
        checked.plans += found.classes
        checked.silent_plans += apart
        checked.states += found.states
        checked.moves += found.moves
        checked.megabytes += megabytes
        checked.depth = max(checked.depth, found.depth)
        checked.cues += found.cues
        _add(results, found)
    checked.results = list(results.values())
    checked.seconds = time.perf_counter() - began
    return checked


def _add(results: dict[str, Result], found: Walked) -> None:
    for name, times in found.findings.looked.items():
        results[name].looked += times
    for name, worst in found.findings.worst.items():
        results[name].worst = max(worst, results[name].worst or 0)
    for name, detail in found.findings.failed.items():
        result = results[name]
        path = found.traces.get(name)
        if result.failed is None or (path and result.path and len(path.events) < len(result.path.events)):
            result.failed, result.path = detail, path
