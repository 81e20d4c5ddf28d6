"""Two hands: what an action does to tube and patient, how long it takes, and what is found."""

from random import Random

from prompter.practise.world.airway import RISES
from prompter.practise.world.case import Case
from prompter.practise.world.parameters import Parameters

TUBE_FREE = frozenset({"oxygen on", "tie", "hold tube", "fetch tube", "roll", "bag on", "mask mouth", "mask neck", "squeeze"})
"""Actions that leave bag or mask where it is, or put it on."""

_BY_THE_TUBE = frozenset({"insert", "insert smaller"})
_PASSES = frozenset({"suction", "suction again", "catheter check"})
_NO_ANSWER = frozenset({"roll", "hold tube", "bag on", "squeeze", "mask mouth", "mask neck", "oxygen on", "tie"})


class Hands:
    """Of one caregiver, in any arm of the simulation. Times in ms."""

    def __init__(self, case: Case, p: Parameters, rng: Random) -> None:
        self.case, self.air, self.patient, self._p, self._rng = case, case.airway, case.patient, p, rng
        self.connected = ""
        """'tube', 'mouth' or 'neck' while bag or mask is on."""
        self.passed: bool | None = None  # of the last pass
        self.last_flow: float | None = None  # of the last squeeze
        self.first_breath_ms: int | None = None
        self.first_effective_ms: int | None = None
        self.pulled_ms: int | None = None
        self.changed_ms: int | None = None
        self.passes = 0
        self.tube_in_hand = self.ties_are_off = False

    def lasts_ms(self, action: str) -> int:
        p = self._p
        median_s = p.tables["hands_s"]["bag on" if action == "squeeze" else action] * p["person.hands_factor"]
        return int(1000 * median_s * (1 + self.case.panic) * self._rng.lognormvariate(0, p["person.spread"]))

    def done_already(self, action: str) -> bool:
        """Nothing is left to do for it."""
        air = self.air
        return {
            "lid off": not air.lid_on, "inner out": not air.inner_in, "inner in": air.inner_in or air.tube == "out",
            "vent off": not air.ventilator, "pull out": air.tube == "out", "guide out": not air.guide_in,
            "cuff empty": not air.cuff_full, "cuff fill": air.cuff_full, "insert": air.tube != "out",
            "insert smaller": air.tube != "out", "bag on": self.connected == "tube", "mask mouth": self.connected == "mouth",
            "mask neck": self.connected == "neck", "squeeze": self.connected != "", "oxygen on": self.patient.oxygen_on,
            "fetch tube": self.tube_in_hand, "ties off": self.ties_are_off,
        }.get(action, False)  # fmt: skip

    def begin(self, action: str) -> None:
        if action not in TUBE_FREE:
            self.connected = ""
        if action in _PASSES:
            self.passed = None

    def finish(self, action: str, now: int) -> str | None:
        """Does it; returns the truthful answer to it (None: nothing that is answered)."""
        air, patient = self.air, self.patient
        patient.advance(now)
        if action in _PASSES:
            self.passes += action != "catheter check"
            self.passed = air.catheter_passes() if action == "catheter check" else air.suction()
            return "passed" if self.passed else "won't pass"
        if action in _BY_THE_TUBE:
            return self._insert(action, now)
        if action == "lid off":
            air.lid_on = False
        elif action == "inner out":
            air.inner_in = False
            air.plug = "" if air.plug == "inner" else air.plug
        elif action == "inner in":
            air.inner_in = True
        elif action == "vent off":
            air.ventilator = ""
        elif action in ("bag on", "squeeze"):
            if action == "bag on" or not self.connected:
                self.connected = "tube"
                air.lid_on = air.lid_on and air.lid_blocks  # a lid that is seen comes off for the bag
        elif action in ("mask mouth", "mask neck"):
            self.connected = action.split()[1]
        elif action == "saline":
            air.salined = True
        elif action == "cuff empty":
            air.cuff_full = False
        elif action == "cuff fill":
            air.cuff_full = air.cuffed
        elif action == "pull out":
            if air.tube != "out":
                air.pull_out()
                self.pulled_ms = now
        elif action == "guide out":
            air.guide_in = False
        elif action == "tie":
            air.tied, self.ties_are_off = True, False
        elif action == "ties off":
            self.ties_are_off = True
        elif action == "oxygen on":
            patient.oxygen_on = True
        elif action == "fetch tube":
            self.tube_in_hand = True
            return "tube ready"
        return None if action in _NO_ANSWER else "done"

    def _insert(self, action: str, now: int) -> str:
        air = self.air
        if air.tube != "out":
            return "tube in"  # told to put one in where one is: people see that it is there
        if not air.insert(action == "insert smaller"):
            return "stuck"
        self.tube_in_hand, self.passed, self.last_flow = False, None, None
        if self.changed_ms is None and air.tube == "in":
            self.changed_ms = now
        return "tube in"

    def squeeze(self, now: int) -> bool:
        """One breath, if bag or mask is on. True if it reached the lungs."""
        if not self.connected:
            return False
        self.patient.advance(now)
        flow = self.air.by_bag(self.connected)
        self.last_flow = flow
        self.patient.breath(flow)
        if self.connected == "tube" and self.air.tube == "wrong":
            self.air.breaths_beside += 1
        if self.first_breath_ms is None:
            self.first_breath_ms = now
        if flow >= RISES and self.first_effective_ms is None:
            self.first_effective_ms = now
        return flow >= RISES
