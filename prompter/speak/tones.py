"""The sounds that are not speech: breaths, pushes, suction seconds, "noted", "attention".

Each is one pure tone with a soft onset, narrow in band and at a frequency of its own, so that it
can be filtered out of the microphone's sound and leaves gaps to hear in. None may be taken for an
alarm: IEC 60601-1-8 (from memory) has bursts of pulses, ten as five and five, rich in harmonics.
All clips here are float32 mono with a peak of at most LEVEL.
"""

import math
from functools import lru_cache

import numpy as np

from prompter.errors import Bug

ATTENTION_HZ = 520.0
BREATH_HZ = 370.0
PUSH_HZ = 620.0
TICK_HZ = 980.0
NOTED_HZ = 1400.0
"""None is a harmonic of another within 30 Hz: small loudspeakers add harmonics of their own."""

LEVEL = 0.22
"""Peak of every tone: below the speech, and with it below full scale."""

BREATH_S = 1.0
"""Each breath over about 1 s: 2020 AHA Guidelines Parts 3 and 4, Circulation 2020;142(suppl 2)."""

BREATH_RISE_S = 0.7
"""The swell grows while the hand squeezes, and falls as it nears the end. Common practice."""

PUSH_S = 0.06
TICK_S = 0.06
NOTED_S = 0.08
ATTENTION_S = 0.5
ATTENTION_RAMP_S = 0.06


def _smooth(steps: int) -> np.ndarray:
    """A rise from 0 to 1 without a corner (half a raised cosine)."""
    return 0.5 - 0.5 * np.cos(np.pi * (np.arange(steps) + 0.5) / max(1, steps))


def _envelope(rise_s: float, hold_s: float, fall_s: float, rate_hz: int) -> np.ndarray:
    rise, hold, fall = (round(part_s * rate_hz) for part_s in (rise_s, hold_s, fall_s))
    return np.concatenate([_smooth(rise), np.ones(hold), _smooth(fall)[::-1]])


def _tone(frequency_hz: float, envelope: np.ndarray, rate_hz: int) -> np.ndarray:
    wave = np.sin(2 * math.pi * frequency_hz * np.arange(len(envelope)) / rate_hz)
    clip: np.ndarray = (LEVEL * envelope * wave).astype(np.float32)
    clip.flags.writeable = False
    return clip


@lru_cache(maxsize=16)
def breath(rate_hz: int, length_s: float = BREATH_S) -> np.ndarray:
    """One squeeze: a soft swell, then nothing. Shorter than BREATH_S only for very fast breaths."""
    rise_s = length_s * BREATH_RISE_S / BREATH_S
    return _tone(BREATH_HZ, _envelope(rise_s, 0.0, length_s - rise_s, rate_hz), rate_hz)


@lru_cache(maxsize=4)
def push(rate_hz: int) -> np.ndarray:
    """One compression."""
    return _tone(PUSH_HZ, _envelope(PUSH_S / 2, 0.0, PUSH_S / 2, rate_hz), rate_hz)


@lru_cache(maxsize=4)
def tick(rate_hz: int) -> np.ndarray:
    """One second of suction."""
    return _tone(TICK_HZ, _envelope(TICK_S / 2, 0.0, TICK_S / 2, rate_hz), rate_hz)


@lru_cache(maxsize=4)
def noted(rate_hz: int) -> np.ndarray:
    """An action was heard."""
    return _tone(NOTED_HZ, _envelope(NOTED_S / 2, 0.0, NOTED_S / 2, rate_hz), rate_hz)


@lru_cache(maxsize=4)
def attention(rate_hz: int) -> np.ndarray:
    """Look at the screen: played where a prompt cannot be spoken."""
    hold_s = ATTENTION_S - 2 * ATTENTION_RAMP_S
    envelope = _envelope(ATTENTION_RAMP_S, hold_s, ATTENTION_RAMP_S, rate_hz)
    return _tone(ATTENTION_HZ, envelope, rate_hz)


def named(name: str, rate_hz: int) -> np.ndarray:
    """The tone of a `Tone` cue: 'noted' or 'attention'. Raises Bug for another name."""
    if name == "noted":
        return noted(rate_hz)
    if name == "attention":
        return attention(rate_hz)
    raise Bug(f"there is no tone '{name}'")
