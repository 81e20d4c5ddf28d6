"""Surroundings that a recording of noise cannot give: echo, telephone, overload, tones, pauses.

Sounds are float32, mono, 16 kHz.
"""

from functools import cache

import numpy as np

from prompter import limits
from prompter.events import Pace
from prompter.speak import tones
from prompter.speak.pacing import Grid

RT60_S = (0.2, 0.4, 0.6, 0.8)
ROOMS_EACH = 6
"""Simulated rooms for each reverberation time."""

TELEPHONE_HZ = (300.0, 3400.0)
"""The band of a telephone line (ITU-T G.712)."""

_RATE = limits.SAMPLE_RATE_HZ


@cache
def room(rt60_s: float, number: int) -> np.ndarray:
    """A room's impulse response from mouth to telephone, from the direct sound on.

    Image sources (Allen and Berkley, J Acoust Soc Am 1979;65:943) in a box of a bedroom's size,
    0.5 to 2 m from mouth to microphone; the walls' absorption is adjusted until the decay measured
    is within 3% of `rt60_s`.
    """
    import pyroomacoustics

    rng = np.random.default_rng([round(rt60_s * 1000), number])
    size = rng.uniform((3.0, 2.6, 2.3), (5.0, 4.2, 2.7))
    mouth = size * rng.uniform((0.3, 0.3, 0.4), (0.7, 0.7, 0.65))
    away = rng.standard_normal(3) * (1, 1, 0.4)
    microphone = mouth + away / np.linalg.norm(away) * rng.uniform(0.5, 2.0)
    microphone = np.clip(microphone, 0.15, size - 0.15)
    aimed, response = rt60_s, np.zeros(0, np.float32)
    for _ in range(6):
        absorption, order = pyroomacoustics.inverse_sabine(aimed, size)
        box = pyroomacoustics.ShoeBox(
            size, fs=_RATE, materials=pyroomacoustics.Material(absorption), max_order=min(order, 60)
        )
        box.add_source(mouth)
        box.add_microphone(microphone)
        box.compute_rir()
        response = np.asarray(box.rir[0][0], np.float32)
        measured = decay_s(response)
        if abs(measured / rt60_s - 1) < 0.03:
            break
        aimed *= rt60_s / measured
    strong = np.abs(response) > np.abs(response).max() / 2
    return response[int(np.argmax(strong)) :]


def decay_s(response: np.ndarray) -> float:
    """RT60 from the decay between -5 and -25 dB (T20 of ISO 3382-2), by Schroeder's integration."""
    left = np.cumsum(response[::-1].astype(np.float64) ** 2)[::-1]
    level_db = 10 * np.log10(left / left[0] + 1e-12)
    begin, end = int(np.argmax(level_db < -5)), int(np.argmax(level_db < -25))
    slope_db = np.polyfit(np.arange(begin, end) / _RATE, level_db[begin:end], 1)[0]
    return float(-60 / slope_db)


def in_room(sound: np.ndarray, response: np.ndarray) -> np.ndarray:
    """The sound with the room's echo behind it."""
    total = len(sound) + len(response) - 1
    size = 1 << (total - 1).bit_length()
    spectrum = np.fft.rfft(sound, size) * np.fft.rfft(response, size)
    return np.fft.irfft(spectrum, size)[:total].astype(np.float32)


def by_telephone(sound: np.ndarray) -> np.ndarray:
    """Only what a telephone line lets through, edges an eighth of an octave wide."""
    low, high = TELEPHONE_HZ
    spectrum = np.fft.rfft(sound)
    hz = np.fft.rfftfreq(len(sound), 1 / _RATE) + 1e-9
    rise = np.clip(8 * np.log2(hz / low) + 1, 0, 1)
    fall = np.clip(1 - 8 * np.log2(hz / high), 0, 1)
    return np.fft.irfft(spectrum * rise * fall, len(sound)).astype(np.float32)


def overloaded(sound: np.ndarray, over_db: float) -> np.ndarray:
    """Its peaks `over_db` above full scale, cut off there."""
    louder = sound * (10 ** (over_db / 20) / np.abs(sound).max())
    return np.clip(louder, -1.0, 1.0).astype(np.float32)


def pacing(what: str, samples: int, peak: float, rng: np.random.Generator) -> np.ndarray:
    """The tones of a pace as the microphone hears them, begun at some moment before.

    `what`: 'breaths' (25 a minute), 'pushes' (110 a minute, 15 to 2 breaths) or 'suction'.
    """
    per_minute = {"breaths": 25, "pushes": 110, "suction": 60}[what]
    cycle = (15, 2) if what == "pushes" else (0, 0)
    pace = Pace(
        0, 1, what, per_minute=per_minute, pushes_a_cycle=cycle[0], breaths_a_cycle=cycle[1]
    )
    grid = Grid.of(pace, _RATE)
    clips = {
        "breath": tones.breath(_RATE, grid.breath_s()),
        "push": tones.push(_RATE),
        "tick": tones.tick(_RATE),
    }
    begin = int(rng.integers(grid.offset(17)))
    track = np.zeros(begin + samples + _RATE, np.float32)
    number = 0
    while grid.offset(number) < begin + samples:
        clip = clips[grid.beat(number)]
        at = grid.offset(number)
        track[at : at + len(clip)] += clip[: len(track) - at]
        number += 1
    return track[begin : begin + samples] * np.float32(peak / tones.LEVEL)


def with_pauses(
    pieces: list[np.ndarray], rng: np.random.Generator, pause_ms: tuple[int, int] = (150, 350)
) -> np.ndarray:
    """The pieces one after the other, each pause of a length drawn from `pause_ms`."""
    parts: list[np.ndarray] = []
    for piece in pieces:
        if parts:
            parts.append(np.zeros(int(rng.integers(*pause_ms) * _RATE / 1000), np.float32))
        parts.append(piece)
    return np.concatenate(parts)
