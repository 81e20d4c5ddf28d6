"""What standby's tests share: voices and blocks."""

from collections.abc import Callable

import numpy as np
import pytest
import soxr

from prompter import limits
from prompter.speak.voice import EspeakVoice


@pytest.fixture(scope="session")
def spoken() -> Callable[..., np.ndarray]:
    """A sentence in a quiet room, a second of the room before and after it, 16 kHz."""

    def say(text: str, voice: str = "en-us", rate_wpm: int = 165) -> np.ndarray:
        clip = EspeakVoice(voice, rate_wpm).render(text)
        clip = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
        clip = clip * (0.05 / float(np.sqrt(np.mean(clip**2))))
        room = np.random.default_rng(0).standard_normal(len(clip) + 32_000) * 2e-4
        room[16_000 : 16_000 + len(clip)] += clip
        return room.astype(np.float32)

    return say


def blocks(sound: np.ndarray) -> list[np.ndarray]:
    """As a microphone gives them."""
    whole = len(sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES
    return list(sound[:whole].astype(np.float32).reshape(-1, limits.BLOCK_SAMPLES))


@pytest.fixture
def as_blocks() -> Callable[[np.ndarray], list[np.ndarray]]:
    return blocks
