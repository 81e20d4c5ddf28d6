"""The simulated echo: as loud as was asked for, of the room that was drawn, the same for the same seed."""

import numpy as np
import pytest

from prompter.hear.measure.mixing import active_rms
from prompter.limits import BLOCK_SAMPLES, MIX_RATE_HZ, SAMPLE_RATE_HZ
from prompter.practise.echo_room import DELAY_MS, RT60_S, EchoPath, impulse_response
from prompter.practise.room import SPEECH_DB
from prompter.speak.voice import EspeakVoice


@pytest.fixture(scope="module")
def speech() -> np.ndarray:
    return EspeakVoice().render("Is the chest moving by itself? Take off the cap or valve.") * np.float32(0.85)


def through(path: EchoPath, sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    played, echo, step = [], [], 0
    for at in range(0, len(sound), 705):  # 32 ms of the mixer
        step += 1
        one, other = path.take(sound[at : at + 705])
        played.append(one)
        echo.append(other)
    return np.concatenate(played), np.concatenate(echo)


@pytest.mark.parametrize("db", [-10.0, 0.0, 6.0])
def test_it_is_as_loud_against_the_caregiver_as_was_asked_for(speech: np.ndarray, db: float) -> None:
    _, echo = through(EchoPath(db, speech, np.random.default_rng(1)), speech)
    assert 20 * np.log10(active_rms(echo)) == pytest.approx(SPEECH_DB + db, abs=1.0)


def test_the_same_seed_is_the_same_room(speech: np.ndarray) -> None:
    one = through(EchoPath(0.0, speech, np.random.default_rng(5)), speech)[1]
    again = through(EchoPath(0.0, speech, np.random.default_rng(5)), speech)[1]
    other = through(EchoPath(0.0, speech, np.random.default_rng(6)), speech)[1]
    assert np.array_equal(one, again) and not np.array_equal(one, other)


def test_what_was_played_comes_before_its_echo_by_the_way_through_the_air(speech: np.ndarray) -> None:
    response = np.zeros(800, np.float32)
    response[320] = 1.0
    played, echo = through(EchoPath(0.0, speech, np.random.default_rng(0), response), speech)
    size = 1 << 18
    match = np.fft.irfft(np.fft.rfft(echo, size) * np.conj(np.fft.rfft(played, size)), size)
    assert int(np.argmax(match)) == 320
    assert len(played) % BLOCK_SAMPLES == 0


@pytest.mark.parametrize("seed", range(6))
def test_a_room_has_a_delay_and_decays_as_one_does(seed: int) -> None:
    response = impulse_response(np.random.default_rng(seed))
    first = int(np.flatnonzero(response)[0]) * 1000 / SAMPLE_RATE_HZ
    assert DELAY_MS[0] - 0.1 <= first <= DELAY_MS[1] + 0.1
    left = np.cumsum(response[::-1].astype(np.float64) ** 2)[::-1]  # Schroeder's integration, ISO 3382
    assert left[0] == pytest.approx(1.0, abs=1e-3)
    at_30_db = int(np.argmax(10 * np.log10(left + 1e-20) < -30)) / SAMPLE_RATE_HZ
    assert at_30_db < RT60_S[1]
    assert MIX_RATE_HZ > SAMPLE_RATE_HZ
