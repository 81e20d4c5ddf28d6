"""The emergency call and the crew: who dials, how long it takes, when they are at the door."""

from collections.abc import Callable
from random import Random

from prompter.practise.world.case import Case
from prompter.practise.world.parameters import Parameters
from prompter.practise.world.timeline import Timeline


class Phone:
    """`asked` at each reminder. `connected_ms`: when the operator answers; None before."""

    def __init__(
        self, case: Case, p: Parameters, rng: Random, timeline: Timeline,
        connected: Callable[[], None], arrived: Callable[[], None], none_found: Callable[[], None],
    ) -> None:  # fmt: skip
        self._case, self._p, self._rng, self._timeline = case, p, rng, timeline
        self._connected, self._arrived, self._none_found = connected, arrived, none_found
        self._dialling = False
        self.connected_ms: int | None = None

    def asked(self) -> None:
        case, p = self._case, self._p
        if self._dialling or self._timeline.now < case.frozen_ms:
            return
        heeded = p["call.heeded_helper"] if case.helper else p["call.heeded_alone"] * (1 - case.panic / 2)
        if self._rng.random() >= heeded:
            return
        self._dialling = True
        knows = case.helper_knows if case.helper else True
        seconds = p["call.dial_s"] if knows else p["call.dial_unknown_phone_s"]
        if not case.phone:
            seconds += 120  # a neighbour's, in the end
            self._timeline.after(10_000, self._none_found)
        self._timeline.after(1000 * seconds * self._rng.lognormvariate(0, p["person.spread"]), self._answered)

    def _answered(self) -> None:
        self.connected_ms = self._timeline.now
        self._connected()
        self._timeline.after(self._case.crew_ms, self._arrived)
