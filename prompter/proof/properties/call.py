"""The call: asked for in time, reminded of, and never in the way of care."""

from prompter.flow.machine import FlowMachine
from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch, text_of

IN_TIME_S, REMINDER_S, NO_PHONE_S = 5, 20, 120
AT_ONCE = frozenset({"not breathing", "limp", "bleeding", "neck swelling", "call now", "stuck"})
"""Answers that need the call at once at any step: CLINICAL section 3, rule 6."""
OF_THE_CALL = frozenset({"call now", "on speaker", "no phone", "say the address"})

ASKED = Property("the call is asked for in time", "at the plan's time, or at once when it is bad", limit=IN_TIME_S, unit="s late")
REMIND = Property("reminders of the call", "until somebody has the phone", limit=REMINDER_S, unit="s")
REMIND_NO_PHONE = Property("reminders without a phone", "a phone may turn up", limit=NO_PHONE_S, unit="s")
ASIDE = Property("the call never delays care", "it runs beside care")
LOOPS = Property("nothing goes on without the call", "who is in trouble for long needs help")

PROPERTIES = (ASKED, REMIND, REMIND_NO_PHONE, ASIDE, LOOPS)


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    machine, answer = edge.scene.machine, edge.answer
    if machine.call.step != "not yet" or answer not in AT_ONCE and answer != "flat" or edge.refused:
        pass
    elif answer in AT_ONCE:
        found.check(ASKED.name, "pushing" in edge.before_marks or (answer == "neck swelling" and edge.before_known["tube"] == "out"),
                    f"{answer!r} at {edge.source!r} does not ask for the call")
    elif "changed" in edge.before_marks and edge.before_known["tube"] != "out":
        found.check(ASKED.name, "on route" in edge.before_marks, f"chest flat after a change at {edge.source!r}: no call")
    if answer in OF_THE_CALL:
        by_time = bool(edge.moves) and edge.moves[0].how == "timed"  # what was due came first
        found.check(ASIDE.name, machine.step == edge.source or by_time, f"{answer!r} moves care from {edge.source!r}")


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    scene, machine = edge.scene, edge.scene.machine
    call, now = machine.call, scene.now
    if machine.closed:
        return
    if call.step == "not yet":
        known = machine.memory.known
        if known["breathing"] != "better" and machine.outcome == "open" and call.due_at is not None:
            found.measure(ASKED.name, max(0.0, (now - call.due_at) / 1000), IN_TIME_S, lambda: f"not asked for at {machine.step!r}")
        found.check(LOOPS.name, call.due_at is not None or _afterwards(machine), lambda: f"the call is not due at {machine.step!r}")
    elif call.step in ("asked", "no phone"):
        prop, limit = (REMIND, REMINDER_S) if call.step == "asked" else (REMIND_NO_PHONE, NO_PHONE_S)
        last = call._asked_at
        found.check(prop.name, call.due_at is not None, "no reminder to come")
        found.check(prop.name, last is not None, lambda: f"{call.step!r}, and nobody was asked for a call or a phone")
        if call.due_at is not None and last is not None:
            found.measure(prop.name, (call.due_at - last) / 1000, limit, lambda: f"{((call.due_at or 0) - last) / 1000:g} s to the next")
    for moved in edge.moves:
        if moved.how == "assumed" and moved.source in ("look", "lips"):
            found.check(ASKED.name, call.step != "not yet", f"silence at {moved.source!r} does not ask for the call")
    for sound in edge.heard:
        if sound.say.role == "call" and call.step in ("asked", "no phone"):
            found.check(REMIND.name, text_of(sound.say.text).call or call.step != "asked", f"{sound.say.text!r} asks for no call")


def _afterwards(machine: FlowMachine) -> bool:
    """Closed in words: the call rests until there is trouble."""
    return (*machine.memory.back, machine.step)[0].startswith("debrief")
