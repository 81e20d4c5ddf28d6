"""What must hold at every move, one small module a family."""

from prompter.proof.properties import (
    breaths,
    call,
    doing,
    ends,
    learned,
    machine,
    route,
    there,
    tube,
    words,
)
from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch

ON_THE_WALK: tuple[Property, ...] = (
    *breaths.PROPERTIES, *tube.PROPERTIES, *route.PROPERTIES, *learned.PROPERTIES, *doing.PROPERTIES, *call.PROPERTIES, *ends.PROPERTIES, *words.PROPERTIES, *there.PROPERTIES, *machine.PROPERTIES,
)  # fmt: skip
FAMILIES = (breaths, tube, route, learned, doing, call, ends, words, there)


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    """Before the onlooker is brought up to date. Each family is asked where it has something to look at: most moves are silence in which a clip ends."""
    answer, moves, learned_now = edge.answer, edge.moves, edge.learned
    breaths.look(watch, edge, found)
    if answer or edge.heard or learned_now or watch.since or edge.event is not None:
        tube.look(watch, edge, found)
    if moves or answer:
        route.look(watch, edge, found)
    if answer:
        learned.look(watch, edge, found)
    if moves or learned_now or answer == "wrong":
        doing.look(watch, edge, found)
    if answer:
        call.look(watch, edge, found)
    ends.look(watch, edge, found)
    if edge.heard or answer:
        words.look(watch, edge, found)
    if edge.says or answer or watch.errands:
        there.look(watch, edge, found)


def look_at_all(watch: Watch, edge: Edge, found: Findings) -> None:
    """The same, every family asked whatever happened: slower, for a test that `look` leaves nothing out."""
    for family in FAMILIES:
        family.look(watch, edge, found)


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    """After it."""
    breaths.look_after(watch, edge, found)
    if watch.since or edge.moves or "inserting" in edge.scene.machine.memory.marks:
        tube.look_after(watch, edge, found)
    call.look_after(watch, edge, found)
    ends.look_after(watch, edge, found)


def look_after_at_all(watch: Watch, edge: Edge, found: Findings) -> None:
    """The same, every family asked."""
    for family in (breaths, tube, call, ends):
        family.look_after(watch, edge, found)
