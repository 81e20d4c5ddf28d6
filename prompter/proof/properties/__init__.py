"""What must hold at every move, one small module a family."""

from prompter.proof.properties import breaths, call, ends, machine, route, tube, words
from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch

ON_THE_WALK: tuple[Property, ...] = (
    *breaths.PROPERTIES, *tube.PROPERTIES, *route.PROPERTIES, *call.PROPERTIES, *ends.PROPERTIES, *words.PROPERTIES, *machine.PROPERTIES,
)  # fmt: skip


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    """Before the onlooker is brought up to date."""
    for family in (breaths, tube, route, call, ends, words):
        family.look(watch, edge, found)


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    """After it."""
    for family in (breaths, tube, call, ends):
        family.look_after(watch, edge, found)
