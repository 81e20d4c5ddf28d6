"""The filter finds the room, and leaves alone whoever speaks at the same time."""

import numpy as np
import pytest

from prompter.hear.echo.filter import HOP, PARTITIONS, EchoFilter
from prompter.limits import SAMPLE_RATE_HZ

SECOND = SAMPLE_RATE_HZ // 512 * 512


def db(sound: np.ndarray) -> float:
    return 10 * float(np.log10(np.mean(sound.astype(np.float64) ** 2) + 1e-20))


def a_room(seed: int) -> np.ndarray:
    """100 ms: three clear reflections and a decaying tail."""
    random = np.random.default_rng(seed)
    response = random.standard_normal(1600) * 0.05 * np.exp(-np.arange(1600) / 300)
    response[[40, 220, 700]] += [0.5, -0.2, 0.1]
    return response.astype(np.float32)


def sounds(seconds: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """What is played (noise of many colours in turn), and its echo."""
    random = np.random.default_rng(seed)
    played = (random.standard_normal(seconds * SECOND) * 0.1).astype(np.float32)
    return played, np.convolve(played, a_room(1))[: len(played)].astype(np.float32)


def through(filter_: EchoFilter, heard: np.ndarray, played: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    clean, expected = [], []
    for begin in range(0, len(heard), 512):
        sound, _, left = filter_.take(heard[begin : begin + 512], played[begin : begin + 512])
        clean.append(sound)
        expected.append(left)
    return np.concatenate(clean), np.array(expected)


def test_its_weights_become_the_rooms_own_impulse_response() -> None:
    filter_ = EchoFilter()
    played, echo = sounds(6)
    through(filter_, echo, played)
    found = np.fft.irfft(filter_._weights, 2 * HOP, axis=1)[:, :HOP].reshape(-1)
    wanted = np.pad(a_room(1), (0, HOP * PARTITIONS - 1600))
    assert db(found - wanted) < db(wanted) - 25


def test_an_echo_alone_goes_down_by_more_than_30_db() -> None:
    played, echo = sounds(6)
    clean, _ = through(EchoFilter(), echo, played)
    assert db(clean[-SECOND:]) < db(echo[-SECOND:]) - 30


def test_who_speaks_at_the_same_time_comes_out_as_they_went_in() -> None:
    played, echo = sounds(9)
    near = np.zeros_like(echo)
    voice = np.random.default_rng(9).standard_normal(2 * SECOND).astype(np.float32)
    voice = np.convolve(voice, np.ones(8) / 8, "same").astype(np.float32)
    near[5 * SECOND : 7 * SECOND] = voice * 10 ** ((db(echo) - db(voice)) / 20)
    clean, _ = through(EchoFilter(), echo + near, played)
    part = slice(5 * SECOND, 7 * SECOND)
    assert db(clean[part] - near[part]) < db(near[part]) - 18
    after = slice(7 * SECOND, 9 * SECOND)  # and it was not led astray by them
    assert db(clean[after]) < db(echo[after]) - 20


def test_what_it_expects_to_have_left_is_what_is_left() -> None:
    played, echo = sounds(5)
    clean, expected = through(EchoFilter(), echo, played)
    power = np.mean(clean.reshape(-1, 512).astype(np.float64) ** 2, axis=1)
    above_db = 10 * np.log10(power[4:] / expected[4:])
    assert np.percentile(above_db, 99) < 11 and expected[5] > expected[-1]


def test_silence_is_nothing_to_learn_from() -> None:
    filter_ = EchoFilter()
    noise = np.random.default_rng(2).standard_normal(SECOND).astype(np.float32) * 0.01
    clean, expected = through(filter_, noise, np.zeros_like(noise))
    assert np.array_equal(clean, noise) and not expected.any() and not filter_._weights.any()


@pytest.mark.parametrize("gain", [0.03, 3.0])
def test_a_faint_and_a_loud_echo_are_both_taken_out(gain: float) -> None:
    played, echo = sounds(8)
    noise = np.random.default_rng(3).standard_normal(len(echo)).astype(np.float32) * 1e-5
    clean, _ = through(EchoFilter(), gain * echo + noise, played)
    assert db(clean[-SECOND:]) < db(gain * echo[-SECOND:]) - 20
