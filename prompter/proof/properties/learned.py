"""What is said is learned: of the tube, of the breathing, of what is missing."""

from prompter.events import Answered
from prompter.proof.properties.property import Property
from prompter.proof.properties.route import ROUTES
from prompter.proof.watch import Edge, Findings, Watch

TUBE = Property("what is said is learned", "the state knows the tube: proven open, unknown, out")
BREATHING = Property("how breathing is said to be is learned", "the next question and the call depend on it")
MISSING = Property("what is missing is remembered", "it is not asked for again")
AGAIN = Property("a second 'won't pass' calls", "what fails twice needs help", "CLINICAL section 3, rule 6")

PROPERTIES = (TUBE, BREATHING, MISSING, AGAIN)
_TEACHES: dict[str, dict[str, str]] = {
    "passed": {"tube": "proven open", "passed": "yes"}, "rising": {"tube": "proven open", "rise": "yes"},
    "flat": {"tube": "unknown", "rise": "no"}, "won't pass": {"tube": "unknown", "passed": "no"},
}  # fmt: skip
"""Answer: what it must teach at a step that asks for it (CLINICAL section 3, rule 2)."""
_OUT_WHEN_DONE = frozenset({"tube-out", "wrong-place", "halfway"})
_BY_ITSELF = frozenset({"look", "no-tube", "no-tube-watch"})
"""Steps that ask how the chest moves by itself."""
_BREATHING = {"not better": ("trouble",), "worse": ("trouble",), "number low": ("trouble",), "not breathing": ("no",), "limp": ("no",)}
_MARKS = {"no suction": "suction dead", "no spare": "spare missing", "bleeding": "bleeding", "paramedics": "crew", "helper here": "helper", "back on vent": "on vent again", "alarm quiet": "on vent again"}


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    if type(edge.event) is not Answered or edge.moves and edge.moves[0].how == "timed":
        return  # a deadline came first: it is an answer to another question, or kept for the return
    machine, answer = edge.scene.machine, edge.answer
    if any((cue.what, cue.value) == ("tube", "out") for cue in edge.learned):
        # A neck swells around a tube in the wrong place: without one, air may go in again.
        found.check(TUBE.name, "swelling" not in machine.memory.marks, f"{answer!r} at {edge.source!r}: the tube is out, and the neck is still held for swelling")
    if edge.refused or answer == "wrong" or machine.closed:
        return
    asked = answer in machine.table.stands[edge.source].own_answers
    known, marks = machine.memory.known, machine.memory.marks
    if answer in _BREATHING and (asked or answer in ("not breathing", "limp")):
        found.check(BREATHING.name, known["breathing"] in _BREATHING[answer] or known["breathing"] == edge.before_known["breathing"] == "no", f"{answer!r} at {edge.source!r}: breathing is {known['breathing']!r}")
    if answer in _MARKS and (asked or answer in machine.table.flow.everywhere):
        found.check(MISSING.name, _MARKS[answer] in marks or answer == "no spare" and edge.source == "smaller", f"{answer!r} at {edge.source!r} is not remembered")
    if answer == "no oxygen":
        found.check(MISSING.name, known["oxygen"] == "none", f"{answer!r} at {edge.source!r} is not remembered")
    if answer == "oxygen on":
        found.check(MISSING.name, known["oxygen"] == "on", f"{answer!r} at {edge.source!r} is not remembered")
    if answer == "alone":
        found.check(MISSING.name, "helper" not in marks, f"{answer!r} at {edge.source!r} is not remembered")
    if not asked:
        return
    if answer == "won't pass" and "tube" in edge.facts and not edge.before_marks & {"on route"} and edge.before_known["tube"] != "out":
        watch.wont_pass += 1
        found.check(AGAIN.name, watch.wont_pass < 2 or machine.call.step != "not yet", f"'won't pass' {watch.wont_pass} times, no call at {edge.source!r}")
    _tube(edge, answer, found)


def _tube(edge: Edge, answer: str, found: Findings) -> None:
    known = edge.scene.machine.memory.known
    if answer == "done" and edge.source in _OUT_WHEN_DONE:
        found.check(TUBE.name, known["tube"] == "out", f"'done' at {edge.source!r}: the tube is {known['tube']}")
    if answer == "flat" and edge.source in _BY_ITSELF:
        found.check(BREATHING.name, known["breathing"] == "no" and edge.scene.machine.call.step != "not yet", f"'flat' at {edge.source!r} is no breathing: learned, and the call")
    if edge.source in ROUTES and (answer == "rising" or answer == "flat" and edge.moves):
        found.check(TUBE.name, known["rise"] == ("yes" if answer == "rising" else "no"), f"{answer!r} at {edge.source!r} teaches nothing")
    if answer not in _TEACHES or edge.before_marks & {"on route"} or edge.before_known["tube"] == "out":
        return
    if edge.source in ("blood", "blood-watch", "look", "saturation", "tube-check", "no-tube", "no-tube-watch", "watch", "debrief", "debrief-bag", "debrief-phone"):
        return
    found.check(TUBE.name, known["tube"] == "out" or all(known[what] == value for what, value in _TEACHES[answer].items()), f"{answer!r} at {edge.source!r} teaches nothing")
