"""Steady noise is taken out of an utterance, and the utterance left."""

import numpy as np
import pytest

from prompter import limits
from prompter.hear.steady import without_steady_noise

RATE = limits.SAMPLE_RATE_HZ


def level_db(sound: np.ndarray) -> float:
    return 10 * float(np.log10(np.mean(sound.astype(np.float64) ** 2) + 1e-20))


def burst(hiss: float) -> tuple[np.ndarray, slice, slice]:
    """A second of hiss with a tone of 500 Hz in its middle third; (sound, tone, pause)."""
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(RATE) * hiss
    tone = slice(RATE // 3, 2 * RATE // 3)
    sound[tone] += 0.2 * np.sin(2 * np.pi * 500 * np.arange(RATE // 3 * 1 + 1)[: tone.stop - tone.start] / RATE)
    return sound.astype(np.float32), tone, slice(1000, RATE // 3 - 1000)


def test_hiss_falls_and_a_tone_stays() -> None:
    """A floor of 0.3 in amplitude can take off 10.5 dB at most (20 log10 of it)."""
    sound, tone, pause = burst(0.05)
    cleaned = without_steady_noise(sound)
    assert -10.6 < level_db(cleaned[pause]) - level_db(sound[pause]) < -4
    assert level_db(cleaned[tone]) == pytest.approx(level_db(np.float32([0.2 / 2**0.5])), abs=0.7)


def test_without_noise_nothing_changes(spoken) -> None:
    sound = np.concatenate([np.zeros(4000, np.float32), spoken("chest flat"), np.zeros(4000, np.float32)])
    cleaned = without_steady_noise(sound)
    assert len(cleaned) == len(sound) and cleaned.dtype == np.float32
    assert level_db(cleaned - sound) < level_db(sound) - 40


@pytest.mark.parametrize("samples", [0, 1, 2047, 2048, 2049, 12_345])
def test_any_length_keeps_its_length_and_stays_finite(samples: int) -> None:
    sound = np.random.default_rng(2).standard_normal(samples).astype(np.float32)
    cleaned = without_steady_noise(sound)
    assert len(cleaned) == samples and np.isfinite(cleaned).all()
    assert not without_steady_noise(np.zeros(samples, np.float32)).any()
