"""Simulated surroundings against what they claim to be."""

import numpy as np
import pytest
import rooms
from sounds import LEVEL, active_rms, in_surroundings

RATE = 16_000


def tone(hz: float, seconds: float = 1.0) -> np.ndarray:
    return np.sin(2 * np.pi * hz * np.arange(int(seconds * RATE)) / RATE).astype(np.float32)


def rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(sound**2)))


@pytest.mark.parametrize("rt60_s", rooms.RT60_S)
def test_a_simulated_room_decays_as_it_should(rt60_s: float) -> None:
    pytest.importorskip("pyroomacoustics", reason="the extra `bench` is not installed")
    # A difference of 5% is the least that listeners notice (ISO 3382-1, annex A).
    assert rooms.decay_s(rooms.room(rt60_s, 1)) == pytest.approx(rt60_s, rel=0.05)


def test_decay_of_a_known_exponential() -> None:
    # 60 dB in 0.5 s by definition of RT60; noise, so that the integration has to smooth it.
    time_s = np.arange(RATE) / RATE
    noise = np.random.default_rng(1).standard_normal(RATE)
    assert rooms.decay_s(noise * 10 ** (-3 * time_s / 0.5)) == pytest.approx(0.5, rel=0.05)


def test_an_echo_is_the_sound_again() -> None:
    response = np.zeros(1000, np.float32)
    response[0], response[800] = 1.0, 0.5
    sound = tone(440)
    heard = rooms.in_room(sound, response)
    assert np.allclose(heard[:800], sound[:800], atol=1e-4)
    assert np.allclose(heard[800:16000], sound[800:] + 0.5 * sound[:-800], atol=1e-4)


def test_a_telephone_passes_300_to_3400_hz() -> None:
    # ITU-T G.712: the band of an analogue telephone channel.
    for hz in (400, 1000, 3000):
        assert rms(rooms.by_telephone(tone(hz))) == pytest.approx(rms(tone(hz)), rel=0.02)
    for hz in (100, 200, 4500, 6000):
        assert rms(rooms.by_telephone(tone(hz))) < 0.02 * rms(tone(hz))


def test_an_overloaded_peak_is_flat() -> None:
    loud = rooms.overloaded(0.1 * tone(200), 12)
    assert np.abs(loud).max() == 1.0
    # 12 dB over: a sine spends 1 - 2/pi asin(1/4) = 84% of its time beyond full scale.
    assert np.mean(np.abs(loud) == 1.0) == pytest.approx(0.84, abs=0.02)


def test_pushes_fall_at_their_rate() -> None:
    track = rooms.pacing("suction", 10 * RATE, 0.1, np.random.default_rng(2))
    loud = np.abs(track) > 0.02
    starts = np.flatnonzero(loud[1:] & ~loud[:-1])
    beats = starts[np.diff(starts, prepend=-RATE) > RATE // 4]
    assert len(beats) in (9, 10, 11)
    assert np.allclose(np.diff(beats), RATE, atol=2)


def test_pauses_have_the_length_drawn() -> None:
    pieces = [np.ones(1600, np.float32)] * 3
    sound = rooms.with_pauses(pieces, np.random.default_rng(3), (150, 350))
    pauses_ms = (len(sound) - 4800) / 16
    assert 300 <= pauses_ms <= 700


@pytest.mark.parametrize("snr_db", [20, 5, 0])
def test_noise_is_as_far_below_the_speech_as_it_says(snr_db: float) -> None:
    speech = tone(300)
    noise = np.random.default_rng(4).standard_normal(5 * RATE).astype(np.float32)
    alone = in_surroundings(speech, None, 0, 7).sound
    mixed = in_surroundings(speech, noise, snr_db, 7).sound
    found_db = 20 * np.log10(active_rms(alone) / rms(mixed - alone))
    assert found_db == pytest.approx(snr_db, abs=0.3)


def test_speech_has_its_level_and_its_time() -> None:
    spoken = in_surroundings(tone(300), None, 0, 7)
    assert active_rms(spoken.sound) == pytest.approx(LEVEL, rel=0.05)
    assert spoken.starts_ms == pytest.approx(500, abs=2)
    assert spoken.ends_ms == pytest.approx(1500, abs=2)


def test_the_end_is_that_of_the_voice_and_not_of_its_echo() -> None:
    response = np.zeros(RATE, np.float32)
    response[0], response[-1] = 1.0, 0.8
    spoken = in_surroundings(rooms.in_room(tone(300), response), None, 0, 7, dry=tone(300))
    assert spoken.ends_ms == pytest.approx(1500, abs=2)
