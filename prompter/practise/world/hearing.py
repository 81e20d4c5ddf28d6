"""What becomes of an utterance on its way to the machine, at the measured rates."""

from collections.abc import Sequence
from random import Random

from prompter.events import Answered, Numbered, Record, Unclear
from prompter.practise.world.parameters import Parameters


class HearingModel:
    """Draws one outcome an utterance. `allowed`: the answers that the ear listens for now."""

    def __init__(self, p: Parameters, rng: Random) -> None:
        self._p, self._rng = p, rng

    def answer(self, said: str, allowed: Sequence[str], at_ms: int) -> Record:
        """Believed, asked back by name, not understood, or (rarely) another answer believed."""
        p, draw = self._p, self._rng.random()
        if draw < p["hearing.wrong"]:
            others = [answer for answer in allowed if answer != said]
            if others:
                other = self._rng.choice(others)
                return Answered(at_ms, other, other)
        if said not in allowed:
            return Unclear(at_ms)
        if draw < p["hearing.wrong"] + p["hearing.believed"]:
            return Answered(at_ms, said, said)
        if self._rng.random() < p["hearing.asked_back_by_name"]:
            return Unclear(at_ms, said, said)
        return Unclear(at_ms)

    def number(self, value: int, at_ms: int) -> Record:
        """A saturation: believed, another number believed, or asked back."""
        p, draw = self._p, self._rng.random()
        if draw < p["hearing.number_other"]:
            return Numbered(at_ms, "spo2", max(40, value - 10))
        if draw < p["hearing.number_other"] + p["hearing.number_believed"]:
            return Numbered(at_ms, "spo2", value)
        heard = value if self._rng.random() < 0.8 else max(40, value - 10)
        return Unclear(at_ms, str(heard), None, None, "spo2", heard)

    def talk(self, allowed: Sequence[str], at_ms: int) -> Record:
        """Somebody else's sentence: not understood, or (rarely) taken for an answer."""
        if allowed and self._rng.random() < self._p["hearing.talk_taken"]:
            taken = self._rng.choice(list(allowed))
            return Answered(at_ms, taken, taken)
        return Unclear(at_ms)
