"""How loud the room is."""

import numpy as np
import pytest

from prompter import limits
from prompter.hear.noise_level import NoiseLevel

RANDOM = np.random.default_rng(0)


def block(level_db: float) -> np.ndarray:
    return (RANDOM.standard_normal(512) * 10 ** (level_db / 20)).astype(np.float32)


def test_steady_noise_is_at_its_own_level() -> None:
    noise = NoiseLevel()
    for _ in range(130):
        noise.push(block(-40), limits.QUIET_DB, False)
    assert noise.db == pytest.approx(-40, abs=0.5)


def test_nothing_is_said_before_four_seconds_were_heard() -> None:
    noise = NoiseLevel()
    for _ in range(124):
        noise.push(block(-40), limits.QUIET_DB, False)
    assert noise.db is None


def test_crying_counts_by_its_bursts_and_an_answer_hardly() -> None:
    crying, answering = NoiseLevel(), NoiseLevel()
    for number in range(250):
        crying.push(block(-20 if number % 50 < 30 else -60), limits.QUIET_DB, False)
        answering.push(block(-20 if number % 125 < 31 else -60), limits.QUIET_DB, False)
    assert crying.db == pytest.approx(-20, abs=1) and answering.db == pytest.approx(-60, abs=1)


def test_the_prompters_own_voice_does_not_count() -> None:
    noise = NoiseLevel()
    for _ in range(130):
        noise.push(block(-10), limits.QUIET_DB, True)
        noise.push(block(-30), -25.0, False)  # what may be left of it
        noise.push(block(-60), limits.QUIET_DB, False)
    assert noise.db == pytest.approx(-60, abs=0.5)
