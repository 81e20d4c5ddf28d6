"""The steps in short: the way a flow usually goes, for a card that has room for one way only."""

from prompter.flow.conditions import guard_of
from prompter.flow.memory import Memory
from prompter.flow.table import STAY, Row, Spoken, Stand, Table

USUAL_TRIGGERS = ("after", "done", "silent")
"""What leads on when nothing special is said."""


def main_route(table: Table) -> list[Stand]:
    """From the start, as far as it goes by itself, each step once."""
    return _route(table, next(iter(table.stands)), _memory(table))


def reason_route(table: Table, main: list[Stand]) -> tuple[list[str], list[Stand]]:
    """(answers, steps): where the main route's reasons for taking a tube out lead, all that lead there."""
    memory, known = _memory(table), {stand.name for stand in main}
    led: dict[str, dict[str, None]] = {}
    for stand in main:
        for answer in stand.own_answers:
            target = _leads(table, stand.name, answer, memory)
            if answer in table.flow.answers and table.flow.answers[answer].reason and target and target not in known:
                led.setdefault(target, {})[answer] = None
    if not led:
        return [], []
    target = next(iter(led))
    answers = dict.fromkeys(
        row.trigger for row in table.rows
        if row.source in known and row.target == target and not row.everywhere and row.trigger in table.flow.answers
    )  # fmt: skip
    return list(answers), _route(table, target, memory)


def anywhere_route(table: Table, answer: str) -> list[Stand]:
    """Where an answer that works at every step leads from the first step; empty if it leads nowhere."""
    memory, first = _memory(table), next(iter(table.stands))
    row = next((r for r in table.rows if r.source == first and r.trigger == answer and r.everywhere and _holds(r, memory)), None)
    return _route(table, row.target, memory) if row is not None and row.target not in (STAY, "back") else []


def spoken(stand: Stand, memory: Memory) -> list[str]:
    """What is said and asked at a step, as far as it holds."""
    told = [s.text for s in (*stand.say, *stand.then_say) if s.guard is None or s.guard(memory)]
    return told + [s.text for s in _first(stand.ask, memory)]


def start_memory(table: Table) -> Memory:
    """As an emergency begins: nothing is known yet."""
    return _memory(table)


def _memory(table: Table) -> Memory:
    return Memory(marks=set(table.start_marks))


def _first(lines: tuple[Spoken, ...], memory: Memory) -> list[Spoken]:
    return next(([s] for s in lines if s.guard is None or s.guard(memory)), [])


def _holds(row: Row, memory: Memory) -> bool:
    guard = guard_of(row.atoms)
    return guard is None or guard(memory)


def _route(table: Table, start: str, memory: Memory) -> list[Stand]:
    found: dict[str, Stand] = {}
    at: str | None = start
    while at is not None and at not in found and at in table.stands:
        found[at] = table.stands[at]
        at = _next(table, at, memory)
    return list(found.values())


def _next(table: Table, at: str, memory: Memory) -> str | None:
    return next((target for trigger in USUAL_TRIGGERS if (target := _leads(table, at, trigger, memory))), None)


def _leads(table: Table, at: str, trigger: str, memory: Memory) -> str | None:
    """The first row that holds, as the machine takes it; None if there is none, or it does not move."""
    for row in table.rows:
        if row.source == at and row.trigger == trigger and not row.everywhere and _holds(row, memory):
            return None if row.target in (STAY, "back") else row.target
    return None
