"""The machine of an emergency as the walk drives it: it remembers its next deadline, which several ask for at every move.

Nothing between two events moves a deadline, so it is worked out once for all that are tried from one state.
"""

from prompter.events import Record
from prompter.flow.machine import FlowMachine
from prompter.flow.table import Table
from prompter.proof.rows import PlainCall, RowEngine

_Due = tuple[tuple[int, str] | None, frozenset[str]]
"""The deadline, and what was asked about the plan to know it."""


class ForkingMachine(FlowMachine):
    """The same cues as any machine gives; the walk compares, again and again, with one that remembers nothing."""

    def __init__(self, table: Table, engine: RowEngine) -> None:
        super().__init__(table, engine)  # type: ignore[arg-type]
        self.call = PlainCall(table)
        self._known_due: _Due | None = None

    def feed(self, event: Record) -> list[Record]:
        cues = super().feed(event)
        self._known_due = None
        return cues

    def next_deadline_ms(self) -> int | None:
        due = self._remembered_due()
        return due[0] if due else None

    def _pass_deadlines(self, until: int, including: bool) -> None:
        due = self._remembered_due()
        if due is not None and (due[0] < until or including and due[0] == until):
            super()._pass_deadlines(until, including)

    def _remembered_due(self) -> tuple[int, str] | None:
        asked: set[str] = self.memory.facts.asked  # type: ignore[attr-defined]
        if self._known_due is None:
            before = asked.copy()
            asked.clear()
            try:
                self._known_due = self._due(), frozenset(asked)
            finally:
                asked |= before
        elif self._known_due[1]:
            asked |= self._known_due[1]
        return self._known_due[0]
