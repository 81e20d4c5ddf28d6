"""How long a cylinder of oxygen lasts, so that a caregiver knows it beforehand.

minutes = (gauge psi - reserve psi) x factor / litres a minute. Sources of the factors (litres a
psi): Virginia Office of EMS, Oxygen Cylinder Guidance, October 2010 (D, E, M, H and K);
respiratory-care handbooks (G).
"""

from typing import Literal

Letter = Literal["D", "E", "M", "G", "H", "K"]

LITRES_A_PSI: dict[Letter, float] = {
    "D": 0.16,
    "E": 0.28,
    "M": 1.56,
    "G": 2.41,
    "H": 3.14,
    "K": 3.14,
}

RESERVE_PSI = 200.0
"""What stays in the cylinder (same guidance)."""


def minutes_left(letter: Letter, gauge_psi: float, litres_a_minute: float) -> float:
    """Minutes at this flow down to the reserve; 0 below it. Raises ValueError unless flow > 0."""
    if litres_a_minute <= 0:
        raise ValueError("the flow must be above 0 litres a minute")
    usable_psi = max(0.0, gauge_psi - RESERVE_PSI)
    return usable_psi * LITRES_A_PSI[letter] / litres_a_minute


def gauge_for(letter: Letter, minutes: float, litres_a_minute: float) -> float:
    """The gauge reading in psi that lasts `minutes` at this flow, reserve kept."""
    return minutes * litres_a_minute / LITRES_A_PSI[letter] + RESERVE_PSI
