"""How far an utterance stands out of steady noise, against the ratio it was mixed at."""

import numpy as np
import pytest
from hearing_parts import PHRASES, ScriptedEar, sure_of

from prompter.hear import thresholds
from prompter.hear.clearness import rises_db
from prompter.hear.panel import Panel

RATE_HZ = 16_000


def tone_in_hiss(snr_db: float) -> np.ndarray:
    """A quarter of a second of hiss, then a second of tone of RMS 0.05 in it; SNR = RMS against RMS."""
    rng = np.random.default_rng(1)
    hiss = rng.standard_normal(RATE_HZ + RATE_HZ // 4) * 0.05 / 10 ** (snr_db / 20)
    tone = 0.05 * 2**0.5 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ) / RATE_HZ)
    return (hiss + np.concatenate([np.zeros(RATE_HZ // 4), tone])).astype(np.float32)


@pytest.mark.parametrize("snr_db", [0, 5, 10, 20, 30])
def test_in_steady_noise_it_is_what_speech_and_noise_are_above_noise(snr_db: float) -> None:
    """(S + N) / N = 1 + SNR, by the meaning of the ratio."""
    expected = 10 * np.log10(1 + 10 ** (snr_db / 10))
    assert rises_db(tone_in_hiss(snr_db)) == pytest.approx(expected, abs=1.5)


def test_loudness_alone_changes_nothing() -> None:
    sound = tone_in_hiss(10)
    assert rises_db(sound / 10) == pytest.approx(rises_db(sound), abs=0.1)


def test_next_to_nothing_does_not_stand_out() -> None:
    assert rises_db(np.zeros(100, np.float32)) == 0
    assert rises_db(np.zeros(5_000, np.float32)) == 0


def test_more_is_needed_the_louder_the_noise() -> None:
    extra = [thresholds.extra_in_noise(db) for db in (0, 2, 4, 8, 12, 50)]
    assert extra[0] == extra[2] == thresholds.NOISY_EXTRA and extra[-2:] == [0, 0]
    assert extra == sorted(extra, reverse=True) and extra[3] == pytest.approx(thresholds.NOISY_EXTRA / 2)


def test_what_is_believed_in_quiet_is_asked_again_in_noise() -> None:
    ear = ScriptedEar(sure_of(PHRASES[0], score=thresholds.LEAST["branch"] + 0.5))
    quiet, noisy = tone_in_hiss(40), tone_in_hiss(0)
    assert Panel([ear]).judge(quiet, PHRASES).believed
    verdict = Panel([ear]).judge(noisy, PHRASES)
    assert not verdict.believed and verdict.why == "not sure enough"
    assert Panel([ear]).judge(noisy, PHRASES, stricter=0.2).why == "not sure enough"
