"""What is being done with the tube is known at every step: on it depends what a word, a deadline or a visit may do."""

from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch

DOING = Property("what is being done is known", "a change, an insertion and another route each have steps of their own")
TRIES = Property("three insertions at most", "counted as they come, apart from the flow's own count", "CLINICAL section 10", 3, "insertions")

PROPERTIES = (DOING, TRIES)
_CHANGING = frozenset({"hold-tube", "in-hand", "cuff-empty", "ties", "tube-out", "wrong-place", "halfway"})
_INSERTING = frozenset({"tube-in", "tube-in-again", "same-back", "smaller-in", "over-catheter"})
_COUNTED = _INSERTING - {"tube-in-again"}
_ROUTE = frozenset({"mouth-mask", "neck-mask", "neck-only-mask"})
_NONE = frozenset({"guide-out", "inner-in", "hold-new", "cuff-fill", "before-prove", "new-tube-ask", "prove", "test-breaths", "bag-after", "suction-after",
                   "tie", "no-tube", "no-change", "no-breaths", "pushes", "settle", "handed-over"})  # fmt: skip
"""At these the old tube is out or proven, or something else goes on: neither a change nor an insertion."""
_OFF_ROUTE = frozenset({"settle", "handed-over", "no-tube-watch"})


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    machine = edge.scene.machine
    if edge.answer == "wrong":
        watch.insertions = 0
        return
    if machine.outcome != "open":
        watch.insertions = 0
    step, marks = machine.step, machine.memory.marks
    if edge.moves and not machine.closed:
        if step in _CHANGING:
            found.check(DOING.name, "changing" in marks, f"the tube is being changed at {step!r}, and nobody knows")
        elif step in _INSERTING:
            found.check(DOING.name, "inserting" in marks and "changing" not in marks, f"a tube goes in at {step!r}, and nobody knows")
        elif step in _ROUTE:
            found.check(DOING.name, "on route" in marks and not marks & {"changing", "inserting"}, f"another route goes on at {step!r}, and nobody knows")
        elif step in _NONE:
            found.check(DOING.name, not marks & {"changing", "inserting"}, f"no change goes on at {step!r}, but the machine holds it for one")
        if step in _OFF_ROUTE:
            found.check(DOING.name, "on route" not in marks, f"no other route goes on at {step!r}, but the machine holds it for one")
    if edge.learned and any((cue.what, cue.value) == ("tube", "out") for cue in edge.learned):
        found.check(DOING.name, "changing" not in marks or step in _CHANGING, f"the old tube is out at {step!r}, but the machine holds it for in")
    stands = machine.table.stands
    for moved in edge.moves:
        if moved.target in _COUNTED and not stands[moved.source].visit and moved.source != moved.target:
            watch.insertions += 1
            found.measure(TRIES.name, watch.insertions, 3, f"insertion {watch.insertions} at {moved.target!r}")
