"""The machine of an emergency, driven many times over: it remembers its next deadline, which several ask for at every event.

Nothing between two events moves a deadline. The same cues as any machine gives, over the same rows without an engine's
ceremony: tests compare, and the walk reaches one state in so many again with a machine that remembers nothing.
"""

from prompter.flow.machine import FlowMachine
from prompter.flow.table import Table
from prompter.proof.rows import PlainCall, RowEngine


class RememberingMachine(FlowMachine):
    """For the simulator."""

    def __init__(self, table: Table, engine: RowEngine) -> None:
        super().__init__(table, engine)  # type: ignore[arg-type]
        self.call = PlainCall(table)
        self._known = False
        self._known_due: tuple[int, str] | None = None

    def next_deadline_ms(self) -> int | None:
        if not self._known:
            self._known_due, self._known = self._due(), True
        return self._known_due[0] if self._known_due else None

    def _pass_deadlines(self, until: int, including: bool) -> None:
        at = self.next_deadline_ms()
        if at is not None and (at < until or including and at == until):
            super()._pass_deadlines(until, including)

    def _at(self, now: int) -> None:
        self._known = False  # what comes now may change it
        super()._at(now)


class ForkingMachine(RememberingMachine):
    """For the walk: the deadline is worked out once for all that is tried from one state. What was asked about the plan for it counts as asked each time."""

    def __init__(self, table: Table, engine: RowEngine) -> None:
        super().__init__(table, engine)
        self._asked_for_due: frozenset[str] = frozenset()

    def next_deadline_ms(self) -> int | None:
        asked: set[str] = self.memory.facts.asked  # type: ignore[attr-defined]
        if not self._known:
            before = asked.copy()
            asked.clear()
            try:
                self._known_due, self._asked_for_due, self._known = self._due(), frozenset(asked), True
            finally:
                asked |= before
        elif self._asked_for_due:
            asked |= self._asked_for_due
        return self._known_due[0] if self._known_due else None
