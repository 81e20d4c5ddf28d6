"""A state as the walk reached it, and the way to it."""

from collections.abc import Hashable
from dataclasses import dataclass

from prompter.events import Record
from prompter.proof.found import Path
from prompter.proof.scene import Scene
from prompter.proof.variants import Facts
from prompter.proof.watch import Watch


@dataclass(slots=True, eq=False)
class Node:
    """A state that was reached: how it stands, and by which event from which node."""

    scene: Scene
    watch: Watch
    facts: Facts
    parent: "Node | None" = None
    events: tuple[Record | int, ...] = ()  # a number: so many things that silence brings
    depth: int = 0
    new_aspects: bool = False
    late: bool = False  # breaths have been missing for longer than when it was walked before
    tried: "dict[Hashable, Node] | None" = None  # what was tried at its step and moment, and from which node first


def path_to(node: Node, age: str) -> Path:
    """The events from the start."""
    events: list[Record | int] = []
    at: Node | None = node
    while at is not None and at.parent is not None:
        events[:0] = at.events
        at = at.parent
    root = (at or node).scene.machine
    # The first event is the start itself.
    return Path(age, "helper" in root.memory.marks, dict(node.facts.decided), events[1:], root.step)
