"""Breaths: that they come, go on, and never through a tube they must not go through."""

from prompter.limits import SPEECH_GAP_MS
from prompter.proof.properties.property import Property
from prompter.proof.scene import BeatBegan, Heard
from prompter.proof.watch import Edge, Findings, Watch, text_of

GAP_S, GAP_CHANGING_S, OUT_S, NO_BREATHS_S, PUSHES_S, EARLY_QUESTION_S = 30, 60, 45, 15, 45, 6
NEARLY_DUE_MS = 22_000
SLACK_MS = 1_500
"""A clip that has begun is not cut by a deadline."""

GAP = Property("breaths never too far apart", "not better yet: breath prompts go on whatever else is said", limit=GAP_S, unit="s")
GAP_CHANGING = Property("breaths in a tube change", "the old tube is still in: its way is tried between", limit=GAP_CHANGING_S, unit="s")
OUT = Property("tube out to breaths", "without a tube, breaths come by a new one or another route", limit=OUT_S, unit="s")
SOON = Property("no breaths to a breath prompt", "who does not breathe gets breaths first", limit=NO_BREATHS_S, unit="s")
TEST = Property("two test breaths at most", "a tube not proven open may lie in the wrong place: two at a time, then the chest is asked about", "McGrath et al., Anaesthesia 2012;67:1025", 2, "breaths")
SWELLING = Property("no breaths into a swelling neck", "air beside the windpipe", "McGrath et al., Anaesthesia 2012;67:1025")
GUIDE = Property("guide out before breaths", "the guide closes the new tube")
GOES_ON = Property("the beat goes on", "once paced, breaths and pushes stop only for another step, confirmed breathing or take-over")
PUSHES = Property("pushes go on", "who is limp needs them again as soon as the hands are free; a voice may hold that up", limit=PUSHES_S, unit="s")
EARLY = Property("no question in the first beats", "who has just begun to squeeze cannot look yet", limit=EARLY_QUESTION_S, unit="s")

PROPERTIES = (GAP, GAP_CHANGING, OUT, SOON, TEST, SWELLING, GUIDE, GOES_ON, PUSHES, EARLY)


def look(watch: Watch, edge: Edge, found: Findings) -> None:
    scene, machine = edge.scene, edge.scene.machine
    if edge.answer:
        watch.since.pop("no breaths", None)  # what is said later counts
        if "changed" not in edge.before_marks:
            watch.test_breaths = 0  # somebody looks, and tells; a new tube's chest must be asked about
    if edge.answer == "not breathing" and edge.before_known["tube"] != "out" and not watch.breathing_now and not edge.before_marks & {"changing", "inserting"}:
        watch.since.setdefault("no breaths", scene.now)
    if watch.guide_in and edge.says and any(say.text.startswith("Pull the guide out") for say in edge.says):
        watch.guide_in = False  # asked for; a caregiver may say "done" before it has been heard
    if scene.sounds:
        _sounds(watch, edge, found)
    known = machine.memory.known
    if watch.since and (known["breathing"] == "better" or machine.outcome != "open" or machine.closed or edge.answer == "wrong"):
        watch.since.pop("no breaths", None)
    if watch.breathing_now and not scene.beating and not any(type(s) is BeatBegan for s in scene.sounds):
        stays = machine.step == edge.source and not edge.moves and known["breathing"] == edge.before_known["breathing"]
        found.check(GOES_ON.name, not stays or edge.answer == "wrong" or machine._sets or machine.table.stands[machine.step].beat_count is not None,
                    f"the beat stops at {machine.step!r}")


def _sounds(watch: Watch, edge: Edge, found: Findings) -> None:
    first = not watch.breathing_now
    for sound in edge.scene.sounds:
        kind = type(sound)
        if kind is Heard:
            if first and text_of(sound.say.text).breath:
                first = False
                _gap(watch, edge, sound.at_ms, found)
            _prompt(watch, edge, sound, found)
        elif kind is BeatBegan and sound.pace.what == "breaths":
            first = False
            _beat(watch, edge, sound, found)


def look_after(watch: Watch, edge: Edge, found: Findings) -> None:
    """Once it is known what was heard: how long breaths have been missing."""
    now = edge.scene.now
    since = watch.since.get("no breaths") if watch.since else None
    if since is not None:
        found.measure(SOON.name, (now - since) / 1000, NO_BREATHS_S + 1.5, lambda: f"no breath prompt for {(now - since) / 1000:g} s at {edge.scene.machine.step!r}")
    if not watch.breathing_now:
        _gap(watch, edge, now, found)
    marks = edge.scene.machine.memory.marks
    if "pushing" not in marks or edge.scene.beating == "pushes" or edge.answer == "wrong":
        if watch.since:
            watch.since.pop(PUSHES.name, None)
    elif "pushing" in edge.before_marks:
        since = watch.since.setdefault(PUSHES.name, now)
        found.measure(PUSHES.name, (now - since) / 1000, PUSHES_S, lambda: f"none for {(now - since) / 1000:g} s at {edge.scene.machine.step!r}")


def _gap(watch: Watch, edge: Edge, now: int, found: Findings) -> None:
    """How long it has been, at `now`, since somebody was last told to breathe for the patient."""
    machine = edge.scene.machine
    memory = machine.memory
    if memory.known["breathing"] == "better" or machine.outcome != "open" or machine.closed or edge.answer == "wrong":
        return  # taken back: another state's breaths count
    out, breath = watch.out_since, watch.last_breath
    if out is not None and (breath is None or out >= breath):
        if machine.step not in ("no-tube-watch",) and edge.source != "no-tube-watch":
            found.measure(OUT.name, (now - out) / 1000, OUT_S + SLACK_MS / 1000, lambda: f"{(now - out) / 1000:g} s since the tube is out at {machine.step!r}")
    elif breath is None:
        return
    elif "changing" in memory.marks or "changing" in edge.before_marks:
        watch.changing_at = now
        found.measure(GAP_CHANGING.name, (now - breath) / 1000, GAP_CHANGING_S + SLACK_MS / 1000, lambda: f"{(now - breath) / 1000:g} s without a breath prompt at {machine.step!r}")
    else:
        if watch.changing_at is not None and watch.changing_at > breath:
            # Who leaves a change (limp: pushes) had its longer time, and has no more of it; what comes instead
            # must come as if breaths were nearly due.
            since = breath
            found.measure(GAP_CHANGING.name, (now - since) / 1000, GAP_CHANGING_S + SLACK_MS / 1000, lambda: f"{(now - since) / 1000:g} s without a breath prompt at {machine.step!r}, out of a change")
            breath = max(breath, watch.changing_at - NEARLY_DUE_MS)
        found.measure(GAP.name, (now - breath) / 1000, GAP_S + SLACK_MS / 1000, lambda: f"{(now - breath) / 1000:g} s without a breath prompt at {machine.step!r}")


def _prompt(watch: Watch, edge: Edge, sound: Heard, found: Findings) -> None:
    say = sound.say
    if say.role == "question":
        watch.test_breaths = 0
        if watch.beat_began is not None and sound.paced and edge.event is None and say.at_ms != watch.spoken_at and not say.text.endswith("Once more."):
            early = (sound.at_ms - watch.beat_began) / 1000
            found.check(EARLY.name, early >= EARLY_QUESTION_S - SPEECH_GAP_MS / 1000, f"a question {early:g} s into the beat at {say.step!r}")
    if watch.swelling and text_of(say.text).breath:
        mask = "mask" in say.text.lower()
        watch.swelling = watch.swelling and not mask
        found.check(SWELLING.name, mask or not edge.scene.machine.table.stands[say.step].beat or edge.scene.machine.table.stands[say.step].through_mask,
                    f"{say.text!r} after neck swelling")


def _beat(watch: Watch, edge: Edge, sound: BeatBegan, found: Findings) -> None:
    machine = edge.scene.machine
    stand = machine.table.stands[machine._beat_step]
    if stand.through_mask or stand.beat != "breaths":
        return
    found.check(GUIDE.name, not watch.guide_in, lambda: f"breaths at {machine.step!r} with the guide in the tube")
    if machine.memory.known["tube"] != "proven open":
        watch.test_breaths += sound.pace.count or 99
        found.measure(TEST.name, watch.test_breaths, 2, f"{watch.test_breaths} breaths at {machine.step!r} through a tube not proven open")
    else:
        watch.test_breaths = 0
