"""What the hearing's tests share: the real ear, voices and recordings."""

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soxr

sys.path.insert(0, str(Path(__file__).parent))  # hearing_parts: importlib mode adds no folder

from hearing_parts import PHRASES  # noqa: E402

from prompter import limits  # noqa: E402
from prompter.hear.embedded_ear import EmbeddedEar  # noqa: E402
from prompter.resources import shared_file  # noqa: E402
from prompter.speak.voice import EspeakVoice  # noqa: E402


@pytest.fixture(scope="session")
def whisper() -> EmbeddedEar:
    ear = EmbeddedEar()
    ear.load()
    ear.prepare(PHRASES)
    return ear


@pytest.fixture(scope="session")
def spoken() -> Callable[..., np.ndarray]:
    """A sentence by an embedded voice, half a second of near silence around it, 16 kHz."""

    def say(text: str, voice: str = "en-us", level: float = 0.05) -> np.ndarray:
        clip = EspeakVoice(voice, 170).render(text)
        clip = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
        clip = clip * (level / float(np.sqrt(np.mean(clip**2))))
        quiet = np.random.default_rng(0).standard_normal(len(clip) + 24_000) * 1e-4
        quiet[8_000 : 8_000 + len(clip)] += clip
        return quiet.astype(np.float32)

    return say


@pytest.fixture(scope="session")
def audio() -> Path:
    return shared_file("audio")
