"""Whether a suction catheter fits its tube, and within which limits it is used.

Sources: Blakeman et al., AARC Clinical Practice Guidelines: Artificial Airway Suctioning, Respir
Care 2022;67(2):258 (share of the lumen, vacuum, 15 s); its 2010 edition, Respir Care 2010;55(6):758
(70 % for infants). By area: (catheter outside / tube inside) squared, because the bedside rule then
stays under 50 %. 1 Fr is 1/3 mm of outside diameter (definition).
"""

from prompter.care.breathing import AgeGroup

LUMEN_SHARE_LIMIT: dict[AgeGroup, float] = {"infant": 0.70, "child": 0.50, "adult": 0.50}
"""The catheter must block less than this share of the tube (Blakeman et al. 2022, the stricter)."""

VACUUM_LIMIT_MMHG: dict[AgeGroup, float] = {"infant": 120.0, "child": 120.0, "adult": 200.0}
"""The vacuum must be below (Blakeman et al. 2022)."""

PASS_LIMIT_S = 15.0
"""No pass is longer (Blakeman et al. 2022)."""

PASS_USUAL_S: dict[AgeGroup, float] = {"infant": 5.0, "child": 5.0, "adult": 10.0}
"""Common practice, no source: a longer order is doubted, not refused."""

MADE_FR = (5, 6, 8, 10, 12, 14, 16, 18)
"""Gauges that are commonly sold (common practice, no source)."""


def outside_mm(catheter_fr: float) -> float:
    """Outside diameter in mm of a French gauge."""
    return catheter_fr / 3.0


def lumen_share(catheter_fr: float, inside_mm: float) -> float:
    """Share of the tube's area that the catheter blocks: 0 to 1, more if it does not fit at all."""
    return (outside_mm(catheter_fr) / inside_mm) ** 2


def fits(catheter_fr: float, inside_mm: float, age_group: AgeGroup) -> bool:
    """True if the catheter blocks less than the guideline's share."""
    return lumen_share(catheter_fr, inside_mm) < LUMEN_SHARE_LIMIT[age_group]


def largest_fr(inside_mm: float) -> int | None:
    """The bedside rule: the largest gauge sold below 2 x the inside diameter in mm; None if none is.

    Source: a published medical calculator's worked table; the rule itself is common practice.
    """
    below = [fr for fr in MADE_FR if fr < 2 * inside_mm]
    return max(below, default=None)
