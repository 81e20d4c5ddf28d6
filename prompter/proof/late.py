"""How long breaths have been missing where a state is met: what a state's key does not tell.

A state that is met again is walked again if breaths have been missing for longer than whenever it was met before,
told in steps of time: what may come too late is then tried where it would be latest, to within one step.
"""

from collections.abc import Collection, Hashable

from prompter.flow.machine import FlowMachine
from prompter.proof.variants import Facts
from prompter.proof.watch import Watch

FROM_MS, STEP_MS, STEPS_MOST = 12_000, 8_000, 7
"""Earlier than this nothing is told apart; with so many steps every limit is passed."""
HOLDS_UP = frozenset({"hold on", "how do I", "say the address", "spo2 97", "unclear", "speech started"})
"""What moves nothing and takes time: tried at every late state."""


class Lateness:
    """The latest that each state was met, by plan."""

    def __init__(self) -> None:
        self._met: dict[Hashable, list[tuple[Facts, int]]] = {}

    def grows(self, key: Hashable, facts: Facts, late: int, matters: Collection[str]) -> bool:
        """Whether it was never met as late for plans that these are among, in all that `matters` there; then it is now."""
        if late == 0:
            return False
        met = self._met.setdefault(key, [])
        for other, before in met:
            if before >= late and (other is facts or other.apart(facts).isdisjoint(matters)):
                return False
        met.append((facts, late))
        return True


def lateness(watch: Watch, machine: FlowMachine, now: int) -> int:
    """Steps of time since breaths were last told, or the tube came out; 0 where none are missing."""
    if watch.breathing_now or machine.memory.known["breathing"] == "better" or machine.outcome != "open":
        return 0
    last = watch.last_breath
    if watch.out_since is not None and (last is None or watch.out_since >= last):
        last = watch.out_since
    late_ms = 0 if last is None else now - last - FROM_MS
    return 0 if late_ms < 0 else min(1 + late_ms // STEP_MS, STEPS_MOST)
