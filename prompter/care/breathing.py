"""How fast to breathe for somebody and to push on a chest, so that the pacing has one source.

Sources: infant or child with a pulse, not breathing well: one breath every 2 to 3 s, 20 to 30 a
minute (Topjian et al., 2020 AHA Guidelines Part 4, Circulation 2020;142(suppl 2):S469). Adult: one
every 6 s, 10 a minute (Panchal et al., 2020 AHA Guidelines Part 3, Circulation 2020;142(suppl 2):
S366). Each breath over about 1 s, pushes 100 to 120 a minute, 30:2 for one rescuer (both). Two
rescuers, infant or child: 15:2 (Topjian et al. 2020).
"""

from typing import Literal

AgeGroup = Literal["infant", "child", "adult"]

BREATH_S = 1.0
"""Each breath over about one second (Topjian et al. 2020; Panchal et al. 2020)."""

PUSHES_PER_MINUTE = 110.0
"""The middle of 100 to 120, so that a hand a little fast or slow is still within."""

BREATHS_PER_MINUTE: dict[AgeGroup, float] = {"infant": 20.0, "child": 20.0, "adult": 10.0}
"""Used when the plan sets no rate. Infant and child: the slow end of 20 to 30, because frightened
hands squeeze early, and behind a narrow tube the breath needs its two seconds to come out again."""

RATE_BAND_PER_MINUTE: dict[AgeGroup, tuple[float, float]] = {
    "infant": (20.0, 30.0),
    "child": (20.0, 30.0),
    "adult": (10.0, 12.0),
}
"""A plan's rate outside is doubted, not refused (adult upper end: common practice, no source)."""

RESCUE_S = 12.0
"""The last breath of a rescue cycle begins no later than this after the first (common practice)."""


def rescue_breaths(per_minute: float) -> int:
    """How many bag breaths a rescue cycle has: 4, or 3 where the fourth would begin after 12 s.

    3 to 4 is common practice, no source. Needs a rate of 10 a minute or more (a plan's least).
    """
    return 4 if 3 * 60.0 / per_minute <= RESCUE_S else 3


def pushes_and_breaths(age_group: AgeGroup, rescuers: int, trained: bool) -> tuple[int, int]:
    """Pushes and breaths a cycle: 30:2, or 15:2 for two rescuers at an infant or child.

    Untrained hands push only: breaths 0 (Panchal et al. 2020; here for all ages, CLINICAL rule).
    """
    pushes = 15 if rescuers >= 2 and age_group != "adult" else 30
    return pushes, (2 if trained else 0)
