"""What breaks in the machine around the flow: ear, voice, loudspeaker, disk, clock."""

from dataclasses import dataclass
from random import Random

from prompter.practise.world.parameters import Parameters

LATEST_BEGIN_MS = 120_000
"""Faults begin within the first two minutes, where most is decided. Assumed."""

KINDS = {
    "ear": "faults.ear_lost", "voice": "faults.voice_lost", "loudspeaker": "faults.loudspeaker_lost",
    "disk": "faults.disk_lost", "clock": "faults.clock_jumps",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    part: str
    at_ms: int
    lasts_ms: int


def draw_faults(seed: int, p: Parameters) -> list[Fault]:
    """At most one of each kind."""
    rng = Random(f"{seed} faults")
    found = []
    for part, name in KINDS.items():
        draw, at = rng.random(), rng.randrange(LATEST_BEGIN_MS)
        lasts = int(1000 * p["faults.lasts_s"] * rng.lognormvariate(0, p["person.spread"]))
        if draw < p[name]:
            found.append(Fault(part, at, lasts))
    return found
