"""How loud speech is: the active speech level of ITU-T Recommendation P.56 (12/2011), method B.

Pauses do not count: the level is that of the time in which somebody speaks, hangover included.
"""

import numpy as np

_TIME_S = 0.03
"""P.56, table 1: time constant of both stages of the envelope."""

_HANGOVER_S = 0.2
_MARGIN_DB = 15.9
_THRESHOLDS = 15
"""Powers of two from full scale down."""


def active_level(sound: np.ndarray, rate_hz: int) -> tuple[float, float]:
    """(level in dB of full scale as RMS of the active part, share of the time that is active), for
    float mono of -1 to 1. (-100, 0) for silence."""
    power = float(np.mean(sound.astype(np.float64) ** 2)) if len(sound) else 0.0
    if power < 1e-10:
        return -100.0, 0.0
    envelope = _envelope(np.abs(sound).astype(np.float64), rate_hz)
    hang = round(_HANGOVER_S * rate_hz)
    before: tuple[float, float] | None = None
    for exponent in range(_THRESHOLDS, -1, -1):  # from the lowest threshold up
        threshold = 2.0**-exponent
        share = _active_share(envelope >= threshold, hang)
        if share == 0:
            break
        level_db = 10 * np.log10(power / share)
        above_db = level_db - 20 * np.log10(threshold)
        if above_db <= _MARGIN_DB:
            if before is None:
                return float(level_db), share
            # P.56 interpolates between the two thresholds around the margin.
            part = (before[1] - _MARGIN_DB) / (before[1] - above_db)
            found = before[0] + part * (level_db - before[0])
            return float(found), float(power / 10 ** (found / 10))
        before = (float(level_db), float(above_db))
    return (before[0], float(power / 10 ** (before[0] / 10))) if before else (float(10 * np.log10(power)), 1.0)


def _envelope(rectified: np.ndarray, rate_hz: int) -> np.ndarray:
    """Two stages of exponential averaging, one after the other."""
    kept = np.exp(-1 / (_TIME_S * rate_hz))
    count = round(12 * _TIME_S * rate_hz)
    kernel = (1 - kept) ** 2 * (np.arange(count) + 1) * kept ** np.arange(count)
    size = 1 << (len(rectified) + count).bit_length()
    return np.fft.irfft(np.fft.rfft(rectified, size) * np.fft.rfft(kernel, size), size)[: len(rectified)]


def _active_share(loud: np.ndarray, hang: int) -> float:
    """Share of the samples that are loud, or follow a loud one within `hang`."""
    at = np.arange(len(loud))
    last = np.maximum.accumulate(np.where(loud, at, -hang - 1))
    return float(np.mean(at - last <= hang))
