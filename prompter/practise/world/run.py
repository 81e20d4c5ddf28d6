"""Many emergencies on all cores: the same seeds in every arm, the same seed the same bytes."""

import gc
import os
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import cache

from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.practise.world.baselines import Card, answers_only
from prompter.practise.world.case import kind_of
from prompter.practise.world.emergency import Emergency, Note
from prompter.practise.world.laid_out import LaidOut, lay_out
from prompter.practise.world.outcome import Outcome
from prompter.practise.world.parameters import Parameters, the_parameters
from prompter.resources import flow_file

FLOW, ANSWERS_ONLY, CARD = "flow", "answers only", "card"
ARMS = (FLOW, ANSWERS_ONLY, CARD)
USUAL = "breathing-trouble"
CHUNK = 250
"""Seeds a piece of work: few enough that the last piece keeps nobody waiting."""


@dataclass(frozen=True, slots=True)
class Work:
    """Seeds of one kind of patient, in one arm. `changed`: parameters with another value."""

    arm: str
    kind: int
    seeds: tuple[int, ...]
    flow_path: str
    changed: dict[str, float] = field(default_factory=dict)


_LAID: dict[tuple[str, str, int], LaidOut] = {}
"""What this process has laid out: a few dozen at most."""


_loaded = cache(load_flow)


@cache
def flow_of(arm: str, path: str) -> Flow:
    flow = _loaded(path)
    return answers_only(flow) if arm == ANSWERS_ONLY else flow


def one(seed: int, arm: str = FLOW, p: Parameters | None = None, note: Note | None = None, flow_path: str = "") -> Outcome:
    """One run in this process; `note(ms, who, what)` traces it."""
    p = p or the_parameters()
    if arm == CARD:
        return Card(seed, p).run()
    path = flow_path or str(flow_file(USUAL))
    return Emergency(seed, _laid_out(arm, path, kind_of(seed, p), p), p, note).run()


def many(works: Iterable[Work], processes: int | None = None) -> list[list[Outcome]]:
    """The outcomes of each work, in the order of the works."""
    listed = list(works)
    processes = processes or os.cpu_count() or 1
    if processes == 1 or len(listed) == 1:
        return [_do(work) for work in listed]
    for path in {work.flow_path for work in listed}:
        _loaded(path)  # once, before there are several processes
    with ProcessPoolExecutor(processes) as pool:
        return list(pool.map(_do, listed))


def works_for(seeds: range, arm: str, flow_path: str = "", changed: dict[str, float] | None = None) -> list[Work]:
    """The seeds sorted by kind of patient, so that each flow is laid out seldom."""
    p, path = the_parameters(), flow_path or str(flow_file(USUAL))
    by_kind: dict[int, list[int]] = {}
    for seed in seeds:
        by_kind.setdefault(kind_of(seed, p), []).append(seed)
    return [
        Work(arm, kind, tuple(found[i : i + CHUNK]), path, changed or {})
        for kind, found in sorted(by_kind.items()) for i in range(0, len(found), CHUNK)
    ]  # fmt: skip


def simulate(seeds: range, arms: Iterable[str] = ARMS, flow_path: str = "", processes: int | None = None) -> dict[str, list[Outcome]]:
    """All seeds in all arms; each arm's outcomes in the order of their seeds."""
    works = [work for arm in arms for work in works_for(seeds, arm, flow_path)]
    found: dict[str, list[Outcome]] = {arm: [] for arm in arms}
    for work, outcomes in zip(works, many(works, processes), strict=True):
        found[work.arm] += outcomes
    return {arm: sorted(outcomes, key=lambda o: o.seed) for arm, outcomes in found.items()}


def _do(work: Work) -> list[Outcome]:
    p = the_parameters().with_values(**{name.replace(".", "__"): value for name, value in work.changed.items()})
    if work.arm == CARD:
        return [Card(seed, p).run() for seed in work.seeds]
    laid_out = _laid_out(work.arm, work.flow_path, work.kind, p)
    return [Emergency(seed, laid_out, p).run() for seed in work.seeds]


def _laid_out(arm: str, path: str, kind: int, p: Parameters) -> LaidOut:
    key = (arm, path, kind)
    if key not in _LAID:
        _LAID[key] = lay_out(flow_of(arm, path), p, kind)
        gc.freeze()  # a table is many small objects that stay: not to be looked through again
    return _LAID[key]
