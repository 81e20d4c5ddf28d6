"""Lays the table's rows out as a state machine of the `transitions` library: no magic, only rows."""

import logging
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Protocol

from transitions import Event, Machine

from prompter.flow.conditions import Atom, guard_of
from prompter.flow.memory import Memory
from prompter.flow.table import STAY, Row, Table

# A refused trigger is reported as a cue; the library's own warning would only reach the screen.
logging.getLogger("transitions").setLevel(logging.ERROR)


class Walker(Protocol):
    """What moves over the rows: it has a `step`, remembers, and takes a row."""

    step: str
    memory: Memory

    def take(self, row: Row) -> None: ...
    def ask_to_confirm(self, row: Row) -> None: ...


class Engine:
    """One for a table; any number of walkers may use it one after the other."""

    def __init__(self, table: Table) -> None:
        self._machine = Machine(
            model=None, states=list(table.stands), initial=next(iter(table.stands)),
            auto_transitions=False, ignore_invalid_triggers=True, model_attribute="step",
        )  # fmt: skip
        self._waiting: dict[str, list[Row]] = {}
        for row in table.rows:
            self._waiting.setdefault(row.trigger, []).append(row)

    def event(self, trigger: str) -> Event | None:
        """What the library does on this trigger; None if no row has it.

        Its rows are laid out when it is first asked for: of thousands of rows an emergency needs few, and begins sooner.
        """
        for row in self._waiting.pop(trigger, ()):
            moves = row.target not in (STAY, "back")
            for confirming in (True, False) if row.confirm else (False,):
                self._machine.add_transition(
                    row.trigger, row.source, row.target if moves and not confirming else None,
                    conditions=_conditions(row, confirming), after=_after(row, confirming),
                )  # fmt: skip
        return self._machine.events.get(trigger)


def _conditions(row: Row, confirming: bool) -> list[Callable[..., bool]]:
    condition = _condition(row.atoms, row.needs_reason, row.trigger if row.confirm else None, confirming)
    return [condition] if condition else []


@lru_cache(maxsize=8192)
def _condition(
    atoms: tuple[Atom, ...], needs_reason: bool, pending: str | None, confirming: bool
) -> Callable[..., bool] | None:
    """One function for all rows that ask the same: there are thousands of rows, and few questions."""
    guard = guard_of(atoms)
    tests: list[Callable[[Memory], bool]] = [guard] if guard else []
    if needs_reason:
        tests.append(lambda memory: memory.reason is not None)
    if pending is not None:
        tests.append(lambda memory: (memory.pending == pending) is not confirming)
    if not tests:
        return None
    if len(tests) == 1:
        only = tests[0]
        return lambda walker: only(walker.memory)
    return lambda walker: all(test(walker.memory) for test in tests)


def _after(row: Row, confirming: bool) -> Callable[[Any], None]:
    if confirming:
        return lambda walker: walker.ask_to_confirm(row)
    return lambda walker: walker.take(row)
