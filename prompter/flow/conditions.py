"""Reads the flow's `if` words and turns them into guards: what the plan settles, and what is asked of memory.

An atom is one of
    helper / not helper          a fact of the plan or a mark set on the way
    tube is out / tube is not out    something learned
    stuck times >= 2 / < 2       a count
    low number, fresh number     about the last saturation said
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from prompter.care.plan import FACTS
from prompter.flow.memory import KNOWN, Memory

Guard = Callable[[Memory], bool]

_IS = re.compile(r"^([a-z]+) is (not )?([a-z ]+)$")
_COUNT = re.compile(r"^([a-z ]+?) (>=|<) (\d+)$")
_ALL_FACTS = frozenset(FACTS)
DYNAMIC_FACTS = frozenset({"helper"})
"""Facts of the plan that may change while it goes on ("I am by myself")."""
NUMBER_ATOMS = frozenset({"low number", "fresh number"})


@dataclass(frozen=True, slots=True)
class Atom:
    """One parsed condition. `sort`: 'mark' (facts too), 'known', 'count' or 'number'."""

    text: str
    sort: str
    name: str
    value: str = ""
    negated: bool = False


@lru_cache(maxsize=4096)
def parse(text: str) -> Atom:
    """Raises ValueError with a readable reason."""
    text = " ".join(text.split())
    if found := _IS.match(text):
        name, negation, value = found.groups()
        if name not in KNOWN:
            raise ValueError(f"'{name}' is nothing that can be learned ({', '.join(KNOWN)})")
        if value not in KNOWN[name]:
            raise ValueError(f"'{name}' is never '{value}' ({', '.join(KNOWN[name])})")
        return Atom(text, "known", name, value, bool(negation))
    if found := _COUNT.match(text):
        name, sign, value = found.groups()
        return Atom(text, "count", name, value, sign == "<")
    negated = text.startswith("not ")
    name = text.removeprefix("not ")
    return Atom(text, "number" if name in NUMBER_ATOMS else "mark", name, "", negated)


def settled(atom: Atom, facts: frozenset[str] | None) -> bool | None:
    """True or False if the plan alone decides; None if it depends on what happens, or on a plan not yet known."""
    if facts is None or not _is_fact(atom):
        return None
    return (atom.name in facts) != atom.negated


def left_open(conditions: Iterable[str], facts: frozenset[str] | None) -> tuple[Atom, ...] | None:
    """The atoms that a plan with these facts leaves to be asked on the way; None if the plan says no.

    Without facts all is left open: one table for every plan, asked through `memory.facts`.
    """
    left: list[Atom] = []
    for text in conditions:
        atom = parse(text)
        answer = settled(atom, facts)
        if answer is False:
            return None
        if answer is None:
            left.append(atom)
    return tuple(left)


def holds(conditions: Iterable[str], facts: frozenset[str] | None, memory: Memory) -> bool:
    """Whether all of these hold now."""
    atoms = left_open(conditions, facts)
    if atoms is None:
        return False
    guard = guard_of(atoms)
    return guard is None or guard(memory)


def _is_fact(atom: Atom) -> bool:
    return atom.sort == "mark" and atom.name in _ALL_FACTS and atom.name not in DYNAMIC_FACTS


def guard_of(atoms: Iterable[Atom]) -> Guard | None:
    """One function for all of them (a trigger tries many rows); None if nothing is asked.

    What has happened is asked before what the plan says: with an open plan (`memory.facts`) that
    leaves more of it open.
    """
    marks, others = [], []
    for atom in atoms:
        (marks if atom.sort == "mark" and not _is_fact(atom) else others).append(atom)
    tests = [_marks_test(marks)] if len(marks) > 1 else [_test(atom) for atom in marks]
    tests += [_test(atom) for atom in sorted(others, key=_is_fact)]
    if not tests:
        return None
    if len(tests) == 1:
        return tests[0]
    guard = tests[-1]
    for test in reversed(tests[:-1]):
        guard = _both(test, guard)
    return guard


def _marks_test(atoms: list[Atom]) -> Guard:
    """Several marks at once."""
    wanted = frozenset(atom.name for atom in atoms if not atom.negated)
    unwanted = frozenset(atom.name for atom in atoms if atom.negated)
    return lambda memory: wanted <= memory.marks and unwanted.isdisjoint(memory.marks)


def _both(one: Guard, other: Guard) -> Guard:
    return lambda memory: one(memory) and other(memory)


def _test(atom: Atom) -> Guard:
    name, value, wanted = atom.name, atom.value, not atom.negated
    if atom.sort == "known":
        return (lambda memory: memory.known[name] == value) if wanted else (lambda memory: memory.known[name] != value)
    if atom.sort == "count":
        least = int(value)
        return lambda memory: (memory.counts.get(name, 0) >= least) is wanted
    if _is_fact(atom):
        return (lambda memory: name in memory.facts) if wanted else (lambda memory: name not in memory.facts)
    if name == "low number":
        return lambda memory: memory.low_number() is wanted
    if name == "fresh number":
        return lambda memory: memory.fresh_number() is wanted
    return (lambda memory: name in memory.marks) if wanted else (lambda memory: name not in memory.marks)
