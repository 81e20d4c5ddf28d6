"""The tube: never out, smaller or given up without a reason somebody said, and changed soon when it must be."""

import re
from functools import cache

from prompter.events import Answered, Unclear
from prompter.proof.properties.property import Property
from prompter.proof.watch import Edge, Findings, Watch, text_of

REASONS = frozenset({"won't pass", "flat", "came out", "halfway", "stuck", "neck swelling"})
"""What justifies taking a tube out: CLINICAL section 5."""
REMOVALS = re.compile(r"^(Pull out the old|Pull the tube out|Pull it all the way|Ties off|Take the smaller tube|Smaller tube|Blocked tube must)")
CHANGE_S, CYCLE_S, INSERT_S, TUBES = 20, 90, 20, 3
SPEAKING_S = 4
"""Somebody who speaks holds silence up for so long (CLINICAL section 3, rule 9)."""

REASON = Property("silence never takes a tube out", "a removal or smaller tube needs a spoken or keyed reason since it was last proven open",
                  "McGrath et al., Anaesthesia 2012;67:1025; that silence is none: common practice")
CHANGE = Property("won't pass to a change", "a tube that nothing passes is replaced", limit=CHANGE_S, unit="s",
                  source="Doherty et al., Anaesthesia 2018;73:1400; the seconds: common practice")
FLAT = Property("chest flat to a change (at once)", "as the plan orders", limit=CHANGE_S, unit="s")
CYCLE = Property("chest flat to a change (after the cycle)", "as the plan orders", limit=CYCLE_S, unit="s")
INSERT = Property("one try at an insertion", "longer costs breaths; a voice may hold it up for 4 s more", limit=INSERT_S + SPEAKING_S, unit="s")
THREE = Property("three tubes at most", "more does harm and costs time", limit=TUBES, unit="tubes")
CUFF = Property("an emptied cuff is filled again", "air goes past an empty cuff")


_LIMITS = ((CHANGE, CHANGE_S), (FLAT, CHANGE_S), (CYCLE, CYCLE_S))
PROPERTIES = (REASON, CHANGE, FLAT, CYCLE, INSERT, THREE, CUFF)


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    scene, machine = edge.scene, edge.scene.machine
    if machine.closed:
        return
    answer = _meant(edge)
    if answer in REASONS:
        watch.reason = True
    if answer:
        _timers(watch, edge, answer)
    for sound in edge.heard:
        text = sound.say.text
        if _removes(text) and sound.say.role != "echo":
            found.check(REASON.name, watch.reason, f"{text!r} without a reason")
        if text_of(text).change:
            _reached(watch, sound.at_ms, found)
    for cue in edge.learned:
        found.check(REASON.name, (cue.what, cue.value, cue.how) != ("tube", "out", "assumed"), "silence took the tube out")
        if cue.what == "tries":
            found.measure(THREE.name, int(cue.value), TUBES, f"tube number {cue.value}")
        if cue.what == "tube" and cue.value == "proven open" or cue.what == "breathing" and cue.value in ("better", "no"):
            _forget(watch)
    if scene.beating == "pushes" or "on route" in machine.memory.marks or answer == "wrong":
        _forget(watch)


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    scene, machine = edge.scene, edge.scene.machine
    now, marks = scene.now, machine.memory.marks
    for name, limit in _LIMITS if watch.since else ():
        since = watch.since.get(name.name)
        if since is not None:
            found.measure(name.name, (now - since) / 1000, limit, f"{(now - since) / 1000:g} s at {machine.step!r}")
    if any(moved.target == "tie" for moved in edge.moves):
        found.check(CUFF.name, not watch.cuff_empty or "cuffed" not in edge.facts, "the tube is tied with an empty cuff")
    clock = machine._clock
    if "inserting" in marks and machine._phase == "asking" and clock.act_at is not None:
        found.measure(INSERT.name, (clock.act_at - now) / 1000, INSERT_S + SPEAKING_S, f"silence waits {(clock.act_at - now) / 1000:g} s at {machine.step!r}")


@cache
def _removes(text: str) -> bool:
    return bool(REMOVALS.match(text))


def _meant(edge: Edge) -> str:
    if type(edge.event) is Answered:
        return edge.event.answer
    if type(edge.event) is Unclear and edge.event.answer:
        return edge.event.answer
    return ""


def _timers(watch: Watch, edge: Edge, answer: str) -> None:
    tube, marks = edge.before_known["tube"], edge.scene.machine.memory.marks
    busy = tube == "out" or edge.before_marks & {"changing", "inserting", "on route", "pushing"} or "pushing" in marks
    asked = answer in edge.scene.machine.table.stands[edge.source].own_answers
    if answer in ("passed", "rising", "better", "still on", "not breathing", "limp", "bleeding", "came out", "halfway", "vomit", "mucus"):
        _forget(watch)
    elif busy or not asked or type(edge.event) is not Answered or "tube" not in edge.facts:
        return
    elif answer == "won't pass":
        watch.since.setdefault(CHANGE.name, edge.scene.now)
    elif answer == "flat" and edge.source in ("bag", "last-bag", "keep-bagging", "gap-breaths", "gap-ask"):
        at_once = edge.source != "bag" or "change at once" in edge.facts
        watch.since.setdefault(FLAT.name if at_once else CYCLE.name, edge.scene.now)


def _reached(watch: Watch, at_ms: int, found: Findings) -> None:
    for name, limit in _LIMITS if watch.since else ():
        since = watch.since.pop(name.name, None)
        if since is not None:
            found.measure(name.name, (at_ms - since) / 1000, limit)


def _forget(watch: Watch) -> None:
    for name in (CHANGE, FLAT, CYCLE) if watch.since else ():
        watch.since.pop(name.name, None)
