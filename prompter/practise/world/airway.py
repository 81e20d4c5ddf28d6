"""Where the tube is and what lets air through: the truth that caregivers only see in part."""

from dataclasses import dataclass, field
from random import Random

from prompter.practise.world.parameters import Parameters

RISES = 0.5
"""Share of the need from which a chest is seen to rise. Assumed."""


@dataclass(slots=True)
class Airway:
    """Flows are shares of what the patient needs, 0 to 1.

    `tube`: 'in', 'halfway', 'out', 'wrong' (outside of the windpipe). `plug`: '', 'soft', 'hard',
    'inner' (in the inner tube). `way` above the tube: 'open', 'hard', 'neck only'.
    """

    p: Parameters
    rng: Random
    way: str
    tube: str = "in"
    has_tube: bool = True
    plug: str = ""
    plug_flow: float = 0.0
    lid_on: bool = False
    lid_blocks: bool = False
    inner_in: bool = False
    inner_needed: bool = False
    cuffed: bool = False
    cuff_full: bool = False
    tied: bool = True
    guide_in: bool = False
    ventilator: str = ""  # 'on', 'fault' or ''
    salined: bool = False
    new_tube: bool = False
    mouth_works: bool = True
    neck_works: bool = True
    breaths_beside: int = 0  # given through a tube in the wrong place
    _neck_hole: float = field(init=False)
    _hard_way: float = field(init=False)
    _around_tube: float = field(init=False)

    def __post_init__(self) -> None:
        p = self.p
        self._neck_hole, self._hard_way, self._around_tube = p["airway.neck_hole_flow"], p["airway.hard_way_factor"], p["airway.around_tube"]

    # ---- how much air gets through

    def through_tube(self, bag: bool) -> float:
        """By the tube alone; without a tube (neck-only) by the neck hole."""
        if not self.has_tube:
            return self._past_plug() * self._neck_hole * 2 if not bag else 0.0
        if self.tube in ("out", "wrong") or self.guide_in:
            return 0.0
        flow = self._past_plug()
        if self.tube == "halfway":
            flow *= 0.2
        if self.lid_on and self.lid_blocks:
            flow *= 0.1
        if bag and self.inner_needed and not self.inner_in:
            flow *= 0.2
        if bag and self.cuffed and not self.cuff_full:
            flow *= 0.6
        return flow

    def own(self) -> float:
        """What the patient's own breaths can move, by any way."""
        if self.ventilator == "fault":
            return 0.0
        if not self.has_tube:
            return min(1.0, self.through_tube(bag=False))
        above = self._above()
        if self.tube == "out":
            return min(1.0, self._neck_hole + 0.4 * above)
        if self.tube == "wrong":
            return 0.3 * above
        flow = self.through_tube(bag=False)
        if not self.cuff_full:
            flow += self._around_tube * above
        return flow if flow < 1.0 else 1.0

    def _above(self) -> float:
        """By mouth and nose."""
        return 1.0 if self.way == "open" else self._hard_way if self.way == "hard" else 0.0

    def by_bag(self, route: str) -> float:
        """One squeeze by 'tube', 'mouth' (mask over mouth and nose) or 'neck' (small mask)."""
        if route == "tube":
            return self.through_tube(bag=True) if self.has_tube else 0.0
        if self.has_tube and self.tube in ("in", "halfway", "wrong") and route == "neck":
            return 0.0
        if route == "neck":
            return (0.8 if self.neck_works else 0.1) * (1.0 if self.has_tube else self._past_plug())
        above = self._above()
        return above * (0.8 if self.mouth_works else 0.1) * (0.3 if self.cuff_full and self.tube == "in" else 1.0)

    def _past_plug(self) -> float:
        blocked = self.plug and not (self.plug == "inner" and not self.inner_in)
        return self.plug_flow if blocked else 1.0

    # ---- what hands do to it

    def suction(self) -> bool:
        """One pass; True if the catheter goes all the way."""
        p = self.p
        if self.has_tube and self.tube in ("out", "halfway"):
            return False
        if self.tube == "wrong":
            return self.rng.random() < p["airway.wrong_place_passes"]
        if self.guide_in or (self.lid_on and self.lid_blocks):
            return False
        if not self.plug or (self.plug == "inner" and not self.inner_in):
            return True
        chance = p["airway.suction_clears"] if self.plug == "soft" else p["airway.suction_clears_hard"]
        if self.salined:
            chance += p["airway.saline_helps"]
        if self.rng.random() < chance:
            self.plug = ""
            return True
        if self.plug == "soft" and self.plug_flow > 0:
            return self.rng.random() >= p["airway.catheter_stops"]
        return False

    def catheter_passes(self) -> bool:
        """Looks only, clears nothing."""
        if self.tube == "wrong":
            return self.rng.random() < self.p["airway.wrong_place_passes"]
        return self.has_tube and self.tube == "in" and not self.guide_in and not (self.plug and self.plug_flow < 0.2)

    def insert(self, smaller: bool) -> bool:
        """One try; True if it goes in, rightly or not. The guide is in it."""
        p = self.p
        if self.rng.random() < p["airway.stuck_smaller" if smaller else "airway.stuck"]:
            return False
        self.tube = "wrong" if self.rng.random() < p["airway.wrong_place"] else "in"
        self.guide_in, self.tied, self.new_tube, self.lid_on = True, False, True, False
        self.plug, self.salined, self.cuff_full, self.breaths_beside = "", False, False, 0
        self.inner_in = False
        return True

    def may_slip(self) -> bool:
        """A new tube that nothing holds."""
        return self.new_tube and not self.tied and self.tube in ("in", "wrong")

    def pull_out(self) -> None:
        self.tube, self.guide_in, self.tied, self.lid_on = "out", False, False, False
        self.plug, self.cuff_full = "", False
