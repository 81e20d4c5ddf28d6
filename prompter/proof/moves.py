"""What can happen at a state: every answer that may be said, every number, doubt, speech, a lost part, and silence."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Final, Literal

from prompter.events import Answered, Failed, Numbered, Record, SpeechStarted, Unclear
from prompter.flow.table import BUILT_IN, Table
from prompter.proof.scene import Scene

Make = Callable[[int], Record]
"""An event, of the time when it happens."""
Sort = Literal["always", "everywhere", "speaks"]
"""Tried at every state; what works everywhere, where the step does not ask for it; what only speaks."""
ALWAYS: Final = "always"
EVERYWHERE: Final = "everywhere"
SPEAKS: Final = "speaks"
Move = tuple[str, Make, Sort]
NUMBERS = (("spo2", 80), ("spo2", 97), ("spo2", 130), ("pulse", 140))
"""Under the floor, fine, out of range, and the other quantity."""
ONLY_SPEAKS = frozenset(
    {"say again", "how do I", "note", "call now", "on speaker", "no phone", "say the address", "tell them", "oxygen on",
     "no oxygen", "failed", "spo2 130", "spo2 80", "spo2 97", "pulse 140", "alone", "helper here", "no bag", "hold on",
     "speech started", "unclear"}
)  # fmt: skip
"""What moves no step, or the same way from every state of a step: tried at every step and moment, not at every state."""

ONCE_A_PLACE = frozenset({"paramedics", "taken over", "no suction"})
"""What only marks something and stays, where the step does not ask for it: tried at every step and moment, with and without that mark."""


class Moves:
    """What can be said at each step of one flow, made ready once."""

    def __init__(self, table: Table) -> None:
        self._table = table
        self._flow = table.flow
        self._at: dict[tuple[str, str | None], tuple[Move, ...]] = {}
        self._doubts: dict[str, Move] = {}

    def at(self, scene: Scene) -> list[Move]:
        """All but "that was wrong" (which is tried after each answer) and silence: names, what makes each at a time, and its sort."""
        machine = scene.machine
        key = (machine.step, machine._interrupted())
        if key not in self._at:
            self._at[key] = tuple((name, make, self._sort(name, key[0])) for name, make in self._always(*key))
        moves = list(self._at[key])
        doubted = machine._asked_back or next((a for a in self._table.stands[key[0]].own_answers if a in self._flow.answers), None)
        if doubted in self._flow.answers:
            if doubted not in self._doubts:
                self._doubts[doubted] = (f"unclear {doubted}", partial(_in_doubt, doubted), ALWAYS)
            moves.append(self._doubts[doubted])
        if machine._clock.paused_at is None and machine._clock.pause_left_ms > 0:
            moves.append(_SPEECH)
        moves.append(_FAILED)
        return moves

    def _sort(self, name: str, step: str) -> "Sort":
        if name in ONLY_SPEAKS:
            return SPEAKS
        return EVERYWHERE if name in self._flow.everywhere and name not in self._table.stands[step].own_answers else ALWAYS

    def _always(self, step: str, interrupted: str | None) -> Iterator[tuple[str, Make]]:
        flow, stands = self._flow, self._table.stands
        asked = stands[interrupted].own_answers if interrupted else ()
        for answer in dict.fromkeys((*stands[step].own_answers, *asked, *flow.everywhere, *BUILT_IN)):
            if answer in flow.answers and answer != "wrong":
                yield answer, partial(_answered, answer, flow.answers[answer].wordings[0])
        for quantity, value in NUMBERS:
            yield f"{quantity} {value}", partial(_numbered, quantity, value)
        yield "unclear", Unclear


def _answered(answer: str, wording: str, now: int) -> Record:
    return Answered(now, answer, wording)


def _numbered(quantity: str, value: int, now: int) -> Record:
    return Numbered(now, quantity, value)


def _in_doubt(answer: str, now: int) -> Record:
    return Unclear(now, None, answer)


def _microphone_lost(now: int) -> Record:
    return Failed(now, "microphone")


_SPEECH: Move = ("speech started", SpeechStarted, SPEAKS)
_FAILED: Move = ("failed", _microphone_lost, SPEAKS)
