"""What must hold at every move, one small module a family."""

from prompter.proof.properties import breaths, call, doing, ends, learned, machine, route, there, tube, words
from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch

ON_THE_WALK: tuple[Property, ...] = (
    *breaths.PROPERTIES, *tube.PROPERTIES, *route.PROPERTIES, *learned.PROPERTIES, *doing.PROPERTIES, *call.PROPERTIES, *ends.PROPERTIES, *words.PROPERTIES, *there.PROPERTIES, *machine.PROPERTIES,
)  # fmt: skip


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    """Before the onlooker is brought up to date."""
    for family in (breaths, tube, route, learned, doing, call, ends, words, there):
        family.look(watch, edge, found)


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    """After it."""
    for family in (breaths, tube, call, ends):
        family.look_after(watch, edge, found)
