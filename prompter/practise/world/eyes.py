"""What a caregiver sees, and says of it: the truth, and what is reported, which may differ."""

from random import Random

from prompter.practise.world.airway import RISES
from prompter.practise.world.hands import Hands
from prompter.practise.world.parameters import Parameters

BLUE_PERCENT = 85
"""Lips look bad below this saturation. Common practice, no source."""

RESPONDS_PERCENT = 65
"""Above this a patient who does not breathe still moves when touched. Assumed."""

OPPOSITES = {
    "rising": "flat", "flat": "rising", "better": "not better", "not better": "better", "still fine": "worse", "worse": "still fine",
    "passed": "won't pass", "won't pass": "passed", "not breathing": "not better", "limp": "moving", "moving": "limp",
    "in place": "halfway", "halfway": "in place", "came out": "halfway",
}  # fmt: skip
_ERRS = {
    "rising": "person.false_flat", "flat": "person.false_rising", "better": "person.false_worse", "not better": "person.false_better",
    "still fine": "person.false_worse", "worse": "person.false_better", "passed": "person.false_passed",
    "won't pass": "person.false_passed", "not breathing": "person.false_better", "limp": "person.false_better",
    "moving": "person.false_worse", "in place": "person.tube_misjudged", "halfway": "person.tube_misjudged",
    "came out": "person.tube_misjudged",
}  # fmt: skip


class Eyes:
    """Of one caregiver. `truth` is what a perfect observer would answer; `report` may err."""

    def __init__(self, hands: Hands, p: Parameters, rng: Random, oximeter: bool, panic: float) -> None:
        self._hands, self._p, self._rng, self._oximeter, self._panic = hands, p, rng, oximeter, panic

    def truth(self, question: str) -> str | None:
        """The answer of somebody who sees everything; None: there is nothing to say (yet)."""
        hands, air, patient = self._hands, self._hands.air, self._hands.patient
        if question == "tube":
            return {"out": "came out", "halfway": "halfway"}.get(air.tube, "in place")
        if question == "hole clear":
            return "won't pass" if air.plug and air.plug_flow < RISES else "in place"
        if question == "passed":
            return None if hands.passed is None else "passed" if hands.passed else "won't pass"
        if question == "moving by itself":
            if not patient.moves_chest():
                return "not breathing"
            return "rising" if patient.breathes() >= RISES else "not better"
        if question in ("lips", "how now"):
            good = patient.spo2 >= BLUE_PERCENT and (patient.breathes() >= RISES or hands.connected != "")
            return ("better" if good else "not better") if question == "lips" else ("still fine" if good else "worse")
        if question == "rising":
            return None if hands.last_flow is None else "rising" if hands.last_flow >= RISES else "flat"
        if question == "movement":
            return "moving" if patient.moves_chest() or patient.spo2 >= RESPONDS_PERCENT else "limp"
        if question == "breaths":
            if not patient.moves_chest():
                return "not breathing"
            return "better" if patient.breathes() >= RISES else "not better"
        if question == "lid":
            return "still on" if air.lid_on else "nothing on"
        if question == "hissing":
            return "oxygen on" if patient.oxygen_on else None
        if question == "number":
            return f"number {patient.shown()}" if self._oximeter else None
        if question == "bag or vent":
            return "stay on bag" if air.ventilator == "" and patient.breathes() < RISES else "back on vent"
        return None

    def report(self, truth: str) -> str:
        """What is said of it: at times the opposite, more often in panic."""
        errs = _ERRS.get(truth)
        if errs is not None and self._rng.random() < min(0.9, self._p[errs] * (1 + self._panic)):
            return OPPOSITES[truth]
        return truth
