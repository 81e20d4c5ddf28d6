"""The simulated way from the prompter's loudspeaker to its microphone: a room, and a small loudspeaker."""

import numpy as np
import soxr

from prompter.hear.measure.mixing import active_rms
from prompter.limits import BLOCK_SAMPLES, MIX_RATE_HZ, SAMPLE_RATE_HZ
from prompter.practise.room import SPEECH_DB

DELAY_MS = (4.0, 30.0)
"""Way through the air (1 m is 3 ms) and through the sound card. Drawn."""

RT60_S = (0.25, 0.6)
"""Reverberation of furnished rooms. Common practice, no source."""

EARLY = 12
EARLY_MS = (2.0, 50.0)
"""Reflections from walls, floor and table after the direct sound."""

TAIL_DB = (-16.0, -8.0)
"""Energy of the decaying tail against the direct sound."""

DISTORTION = 0.5
"""A small loudspeaker bends what it plays: about half a percent of third harmonic at full level."""

_LATE_SAMPLES = 2 * BLOCK_SAMPLES
"""Sound waits in the card (64 ms): the reference and the echo alike."""


def impulse_response(random: np.random.Generator) -> np.ndarray:
    """A room, float32 at 16 kHz: delay, direct sound, early reflections, decaying noise. Energy 1."""
    rt60_s = random.uniform(*RT60_S)
    delay = round(random.uniform(*DELAY_MS) * SAMPLE_RATE_HZ / 1000)
    length = round(rt60_s * SAMPLE_RATE_HZ)
    at_s = np.arange(length) / SAMPLE_RATE_HZ
    tail = random.standard_normal(length) * 10 ** (-3 * at_s / rt60_s)
    tail[: round(EARLY_MS[0] * SAMPLE_RATE_HZ / 1000)] = 0
    tail *= 10 ** (random.uniform(*TAIL_DB) / 20) / np.sqrt(np.sum(tail**2))
    response = tail
    response[0] += 1.0
    for place_ms in random.uniform(*EARLY_MS, EARLY):
        gain = random.choice((-1.0, 1.0)) * random.uniform(0.1, 0.5) * 10 ** (-3 * place_ms / 1000 / rt60_s)
        response[round(place_ms * SAMPLE_RATE_HZ / 1000)] += gain
    response = np.concatenate([np.zeros(delay), response])
    return (response / np.sqrt(np.sum(response**2))).astype(np.float32)


class EchoPath:
    """From what the mixer rendered to what the microphone hears of it.

    `db`: the prompter's speech in the microphone against the caregiver's at arm's length (both RMS of
    active speech). `sample`: speech as it is rendered, float32 at the mixer's rate, for its level.
    """

    def __init__(self, db: float, sample: np.ndarray, random: np.random.Generator, response: np.ndarray | None = None) -> None:
        self._response = impulse_response(random) if response is None else response
        self._up = soxr.ResampleStream(MIX_RATE_HZ, SAMPLE_RATE_HZ, 1, dtype="float32")
        self._played = np.zeros(_LATE_SAMPLES, np.float32)
        self._before = np.zeros(len(self._response) - 1, np.float32)
        at_rate = np.asarray(soxr.resample(sample, MIX_RATE_HZ, SAMPLE_RATE_HZ), np.float32)
        level = active_rms(np.convolve(_bent(at_rate), self._response).astype(np.float32))
        self._gain = np.float32(10 ** ((SPEECH_DB + db) / 20) / (level or 1.0))

    def take(self, rendered: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The next block (512 samples, 16 kHz): what was played, and its echo in the microphone."""
        self._played = np.concatenate([self._played, self._up.resample_chunk(rendered)])
        played, self._played = self._played[:BLOCK_SAMPLES], self._played[BLOCK_SAMPLES:]
        if len(played) < BLOCK_SAMPLES:
            played = np.pad(played, (BLOCK_SAMPLES - len(played), 0))
        sound = np.concatenate([self._before, _bent(played)])
        self._before = sound[len(sound) - len(self._before) :]
        size = 1 << (len(sound) + len(self._response)).bit_length()
        echo = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(self._response, size), size)
        start = len(self._response) - 1
        return played, (echo[start : start + BLOCK_SAMPLES] * self._gain).astype(np.float32)


def _bent(sound: np.ndarray) -> np.ndarray:
    return np.tanh(DISTORTION * sound) / np.float32(DISTORTION)
