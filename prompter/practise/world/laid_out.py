"""One kind of patient's flow, laid out once and used for many runs."""

from dataclasses import dataclass, field

from prompter.flow.document import Flow
from prompter.flow.machine import FlowMachine
from prompter.flow.table import STAY, Table, build
from prompter.practise.world.case import plan_of, variant_of
from prompter.practise.world.parameters import Parameters
from prompter.proof.rows import RowEngine


@dataclass
class LaidOut:
    """`leads`: (step, answer) to the steps it may lead to."""

    table: Table
    engine: RowEngine  # the same rows as an emergency's engine, without its ceremony
    oximeter: bool
    call_after_ms: int
    leads: dict[tuple[str, str], set[str]]
    _allowed: dict[int, tuple[str, ...]] = field(default_factory=dict)

    def allowed(self, machine: FlowMachine) -> tuple[str, ...]:
        """The answers that the ear listens for now."""
        phrases = machine.phrases()
        if id(phrases) not in self._allowed:  # the table keeps them, so their ids stay their own
            self._allowed[id(phrases)] = tuple(dict.fromkeys(phrase.answer for phrase in phrases))
        return self._allowed[id(phrases)]


def lay_out(flow: Flow, p: Parameters, kind: int) -> LaidOut:
    """The flow for one of the parameters' patients."""
    variant = variant_of(plan_of(p.tables["patients"][kind]))
    table = build(flow, variant)
    leads: dict[tuple[str, str], set[str]] = {}
    for row in table.rows:
        leads.setdefault((row.source, row.trigger), set()).add(row.source if row.target == STAY else row.target)
    return LaidOut(table, RowEngine(table), "oximeter" in variant.facts, int(1000 * variant.numbers["call_after_s"]), leads)
