"""What can happen at a state: every answer that may be said, every number, doubt, speech, a lost part, and silence."""

from collections.abc import Callable, Iterator
from functools import partial

from prompter.events import Answered, Failed, Numbered, Record, SpeechStarted, Unclear
from prompter.flow.table import BUILT_IN
from prompter.proof.scene import Scene

NUMBERS = (("spo2", 80), ("spo2", 97), ("spo2", 130), ("pulse", 140))
"""Under the floor, fine, out of range, and the other quantity."""
SILENT_EVENTS_MOST = 24
"""Things that silence brings before it is taken for one that goes on the same."""
ONLY_SPEAKS = frozenset(
    {"say again", "how do I", "note", "call now", "on speaker", "no phone", "say the address", "tell them", "oxygen on",
     "no oxygen", "failed", "spo2 130", "spo2 80", "spo2 97", "pulse 140", "alone", "helper here", "no bag", "hold on",
     "speech started", "unclear"}
)  # fmt: skip
"""What moves no step, or the same way from every state of a step: tried at every step and moment, not at every state."""

ONCE_A_PLACE = frozenset({"paramedics", "taken over", "no suction"})
"""What only marks something and stays, where the step does not ask for it: tried at every step and moment, with and without that mark."""


def events_at(scene: Scene) -> Iterator[tuple[str, Callable[[], Record]]]:
    """All but "that was wrong" (which is tried after each answer) and silence: names, and what makes each."""
    machine, now = scene.machine, scene.now
    stands, flow = machine.table.stands, machine.table.flow
    own = stands[machine.step].own_answers
    interrupted = machine._interrupted()
    asked = stands[interrupted].own_answers if interrupted else ()
    for answer in dict.fromkeys((*own, *asked, *flow.everywhere, *BUILT_IN)):
        if answer in flow.answers and answer != "wrong":
            yield answer, partial(Answered, now, answer, flow.answers[answer].wordings[0])
    for quantity, value in NUMBERS:
        yield f"{quantity} {value}", partial(Numbered, now, quantity, value)
    yield "unclear", partial(Unclear, now)
    doubted = machine._asked_back or next((a for a in own if a in flow.answers), None)
    if doubted in flow.answers:
        yield f"unclear {doubted}", partial(Unclear, now, None, doubted)
    if machine._clock.paused_at is None and machine._clock.pause_left_ms > 0:
        yield "speech started", partial(SpeechStarted, now)
    yield "failed", partial(Failed, now, "microphone")
