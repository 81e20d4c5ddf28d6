"""Ends and turns: what leads to watching, handing over and closing, and what bad news does from everywhere."""

from prompter.events import Unclear
from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch

GOOD = frozenset({"settle", "watch", "bag-or-vent", "blood-watch", "no-tube-watch", "handed-over", "debrief", "debrief-bag", "debrief-phone", "debrief-end", "closed"})
_GATES = frozenset({"number", "closing"})
_NO_TROUBLE = GOOD | _GATES
_BAD = frozenset({"not better", "worse", "flat", "won't pass", "stuck", "not breathing", "limp", "bleeding", "came out", "halfway"})
_OUT_ON = frozenset({"put-back", "tube-in", "tube-in-again", "same-back", "smaller", "smaller-in", "over-catheter", "no-tube", "after-wrong-place", "wrong-place-breaths",
                    "no-change", "pushes", "guide-out", "mouth-mask", "neck-mask", "neck-only-mask", "push-mask", "next-smaller", "other-breaths", "five-breaths"})  # fmt: skip
"""Where the tube being out leads."""
_BUSY = frozenset({"pushing", "on route", "changing"})

CHECKED = Property("good news is checked", "no single utterance and no lost 'not' leads from trouble to watching, handing over or closing")
SECOND_TIME_S = 8
SECOND_TIME = Property("good news said again in time counts", f"whoever is asked to say it once more has {SECOND_TIME_S} s from the end of the prompt; else they are asked for ever")
BAD_NEWS = Property("bad news never ends trouble", "the bad word wins")
OUT_ROW = Property("'came out' reaches its row", "from every state, by where the tube is")
NO_BREATHS_ROW = Property("'no breaths' reaches its row", "from every state, by where the tube is")
BLEEDING_ROW = Property("'bleeding' reaches its row", "from every state; the call with its reason")
HAND_OVER = Property("handing over from everywhere", "the crew may come at any moment")
ANSWERED = Property("silence is answered everywhere", "nobody may be left without the next prompt", limit=120, unit="s")
PROGRESS = Property("an answer leads on", "who says that it is done hears what comes next")

PROPERTIES = (CHECKED, SECOND_TIME, BAD_NEWS, OUT_ROW, NO_BREATHS_ROW, BLEEDING_ROW, HAND_OVER, ANSWERED, PROGRESS)


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    machine, answer = edge.scene.machine, edge.answer
    if edge.event is None:
        if edge.before_known["breathing"] != "better":
            # What was said while breaths interrupted a gate's question is taken on the return to it.
            source = next((moved.source for moved in edge.moves if moved.target in GOOD), edge.source)
            found.check(CHECKED.name, machine.memory.known["breathing"] != "better" or source in _GATES, lambda: f"silence leads from {edge.source!r} to {machine.step!r}")
        return
    if answer == "wrong":
        return
    step = machine.step
    if (answer or type(edge.event) is Unclear) and step in GOOD and edge.source not in _NO_TROUBLE and not machine.table.stands[edge.source].visit:
        found.check(CHECKED.name, edge.confirmed, f"{answer!r} alone leads from {edge.source!r} to {step!r}")
    if answer in _BAD:
        found.check(BAD_NEWS.name, step not in GOOD or step == edge.source, f"{answer!r} leads from {edge.source!r} to {step!r}")
    if not answer or edge.source == "closed":
        return
    if answer == "came out":
        if "tube" in edge.facts:
            found.check(OUT_ROW.name, machine.memory.known["tube"] == "out", f"not known to be out at {step!r}")
            found.check(OUT_ROW.name, step in _OUT_ON or step == edge.source, f"'came out' at {edge.source!r} leads to {step!r}")
    elif answer == "not breathing":
        found.check(NO_BREATHS_ROW.name, machine.memory.known["breathing"] == "no", f"breathing is not known to have stopped at {step!r}")
    elif answer == "bleeding":
        found.check(BLEEDING_ROW.name, "bleeding" in machine.memory.marks and machine.call.step != "not yet", f"no call for bleeding at {edge.source!r}")
        busy = edge.before_marks & _BUSY or edge.before_known["tube"] == "out"
        found.check(BLEEDING_ROW.name, bool(busy) or step in ("bleed", "bleed-no-suction", "look", "blood-open") or machine.table.stands[step].visit or step == edge.source, f"bleeding at {edge.source!r} leads to {step!r}")
    elif answer == "done" and "done" in machine.table.stands[edge.source].own_answers:
        found.check(PROGRESS.name, step != edge.source, f"'done' stays at {edge.source!r}")


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    scene, machine = edge.scene, edge.scene.machine
    if machine.closed:
        return
    due = scene.next_ms()
    if machine.outcome != "handed over":
        found.measure(ANSWERED.name, (due - scene.now) / 1000, 120, lambda: f"silence at {machine.step!r} is not answered")
    for moved in edge.moves:
        if moved.target == "handed-over":
            found.check(HAND_OVER.name, machine.call.step == "ended" or machine.step != "handed-over", "the call does not end")
