"""The simulated room: levels are what they say, and noise is drawn the same for the same seed."""

import numpy as np
import pytest
import soundfile

from prompter.errors import CannotDo
from prompter.hear.measure.mixing import active_rms
from prompter.limits import SAMPLE_RATE_HZ
from prompter.practise.room import (
    SPEECH_DB,
    RoomNoise,
    at_speech_level,
    first_sound,
    last_sound,
    noise_kinds,
)


def _db(rms: float) -> float:
    return 20 * np.log10(rms)


def _talk() -> np.ndarray:
    """Half a second of silence, one of tone at -30 dB of full scale (RMS), half a second of silence."""
    t = np.arange(SAMPLE_RATE_HZ) / SAMPLE_RATE_HZ
    tone = np.sqrt(2) * 10 ** (-30 / 20) * np.sin(2 * np.pi * 300 * t)
    half = np.zeros(SAMPLE_RATE_HZ // 2)
    return np.concatenate([half, tone, half]).astype(np.float32)


def test_the_level_of_speech_is_that_of_its_active_part() -> None:
    assert _db(active_rms(_talk())) == pytest.approx(-30, abs=0.1)
    assert _db(active_rms(at_speech_level(_talk()))) == pytest.approx(SPEECH_DB, abs=0.1)
    assert active_rms(np.zeros(1600, np.float32)) == 0.0


@pytest.mark.parametrize("snr_db", [0, 5, 10, 20])
@pytest.mark.parametrize("kind", ["baby-cry", "hiss"])
def test_noise_lies_as_far_below_speech_as_asked(kind: str, snr_db: float) -> None:
    noise = RoomNoise(kind, snr_db, np.random.default_rng(1)).take(60 * SAMPLE_RATE_HZ)
    rms = float(np.sqrt(np.mean(noise.astype(np.float64) ** 2)))
    assert SPEECH_DB - _db(rms) == pytest.approx(snr_db, abs=1.0)


def test_a_quiet_room_is_quiet_but_not_digital_silence() -> None:
    quiet = RoomNoise(None, None, np.random.default_rng(1)).take(SAMPLE_RATE_HZ)
    assert -75 < _db(float(np.sqrt(np.mean(quiet**2)))) < -60


def test_the_same_seed_draws_the_same_noise_in_any_pieces() -> None:
    whole = RoomNoise("motor", 10, np.random.default_rng(4)).take(48_000)
    other = RoomNoise("motor", 10, np.random.default_rng(4))
    pieces = np.concatenate([other.take(n) for n in (512, 7_488, 16_000, 24_000)])
    assert np.array_equal(whole, pieces)
    assert not np.array_equal(whole, RoomNoise("motor", 10, np.random.default_rng(5)).take(48_000))


def test_first_and_last_sound_are_40_db_below_the_peak() -> None:
    sound = np.zeros(1000, np.float32)
    sound[200], sound[500], sound[800] = 0.011, 1.0, -0.0099
    assert first_sound(sound) == 200
    assert last_sound(sound) == 501
    assert last_sound(np.zeros(10, np.float32)) == 0


def test_a_noise_that_is_not_there_or_damaged_is_refused(tmp_path) -> None:
    with pytest.raises(CannotDo, match="baby-cry"):
        RoomNoise("baby-cri", 10, np.random.default_rng(1))
    (tmp_path / "bad.wav").write_bytes(b"RIFFxxxx")
    with pytest.raises(CannotDo, match="bad.wav"):
        RoomNoise(str(tmp_path), 10, np.random.default_rng(1))
    (tmp_path / "bad.wav").unlink()
    soundfile.write(tmp_path / "short.wav", np.zeros(100), 16_000)
    with pytest.raises(CannotDo, match="too short"):
        RoomNoise(str(tmp_path), 10, np.random.default_rng(1))


def test_the_kinds_that_come_with_the_program() -> None:
    assert {"baby-cry", "hiss", "motor", "rumble", "sneeze"} <= set(noise_kinds())
