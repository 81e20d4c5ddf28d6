"""The active speech level against what follows from ITU-T P.56 itself."""

import numpy as np
import pytest

from prompter.speak.speech_level import active_level

RATE = 16_000


def tone(seconds: float, peak: float = 1.0) -> np.ndarray:
    return peak * np.sin(2 * np.pi * 1000 * np.arange(int(seconds * RATE)) / RATE)


def test_a_full_scale_sine_is_at_minus_3_db() -> None:
    level_db, share = active_level(tone(10), RATE)
    assert level_db == pytest.approx(-3.01, abs=0.05) and share > 0.99


@pytest.mark.parametrize("down_db", [6.0, 20.0, 40.0])
def test_it_follows_the_level(down_db: float) -> None:
    level_db, _ = active_level(tone(10, 10 ** (-down_db / 20)), RATE)
    assert level_db == pytest.approx(-3.01 - down_db, abs=0.1)


def test_pauses_do_not_count_but_the_hangover_does() -> None:
    sound = np.concatenate([tone(5), np.zeros(5 * RATE)])
    level_db, share = active_level(sound, RATE)
    # Five seconds of tone, 0.2 s of hangover and the envelope's decay.
    assert 0.52 <= share <= 0.56
    assert level_db == pytest.approx(-3.01 - 10 * np.log10(share / 0.5), abs=0.15)


def test_more_silence_leaves_the_level_and_halves_the_activity() -> None:
    one = active_level(np.concatenate([tone(5), np.zeros(5 * RATE)]), RATE)
    two = active_level(np.concatenate([tone(5), np.zeros(15 * RATE)]), RATE)
    assert two[0] == pytest.approx(one[0], abs=0.1) and two[1] == pytest.approx(one[1] / 2, abs=0.01)


def test_silence_has_no_level() -> None:
    assert active_level(np.zeros(RATE), RATE) == (-100.0, 0.0)
    assert active_level(np.zeros(0), RATE) == (-100.0, 0.0)
