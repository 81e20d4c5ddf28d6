"""The rows of a table as an engine without ceremony: the walk takes millions of them, mutants build hundreds.

It takes the first row that holds, as the engine of `flow/engine.py` does; a test compares the two.
"""

from collections.abc import Callable
from typing import Any

from prompter.flow.call import ROWS, Call
from prompter.flow.conditions import guard_of
from prompter.flow.table import Row, Table

Condition = Callable[[Any], bool]


class Trigger:
    """All rows of one trigger; `transitions` by the step they lead from."""

    def __init__(self) -> None:
        self.transitions: dict[str, list[tuple[Condition | None, Row, bool, bool]]] = {}

    def trigger(self, _machine: Any, walker: Any) -> None:
        """Takes the first row that holds, if one does."""
        memory = walker.memory
        for guard, row, plain, confirming in self.transitions.get(walker.step, ()):
            if guard is not None and not guard(memory):
                continue
            if not plain:
                if row.needs_reason and memory.reason is None:
                    continue
                if row.confirm and (memory.pending == row.trigger) is confirming:
                    continue
            if confirming:
                walker.ask_to_confirm(row)
            else:
                if row.target not in ("", "back"):
                    walker.step = row.target
                walker.take(row)
            return


class RowEngine:
    """What the machine asks of its engine."""

    def __init__(self, table: Table) -> None:
        self._events: dict[str, Trigger] = {}
        self.event = self._events.get
        guards: dict[tuple[Any, ...], Condition | None] = {}
        for row in table.rows:
            if row.atoms not in guards:
                guards[row.atoms] = guard_of(row.atoms)
            rows = self._events.setdefault(row.trigger, Trigger()).transitions.setdefault(row.source, [])
            for confirming in (True, False) if row.confirm else (False,):
                rows.append((guards[row.atoms], row, not (row.needs_reason or row.confirm), confirming))


class PlainCall(Call):
    """The call beside care, over the same rows."""

    def _take(self, trigger: str) -> None:
        self.step = _CALL.get((trigger, self.step), self.step)


_CALL = {(trigger, source): target for trigger, sources, target in ROWS if target for source in ([sources] if isinstance(sources, str) else sources)}
