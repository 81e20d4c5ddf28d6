"""The rendered tones: narrow, each in its own band, soft at the edges, nothing like an alarm."""

import numpy as np
import pytest

from prompter.errors import Bug
from prompter.events import Pace
from prompter.speak import tones
from prompter.speak.mixer import Beat, Mixer

RATE_HZ = 22_050
ALL = {
    "breath": (tones.breath, 370, 1.0),
    "push": (tones.push, 620, 0.06),
    "tick": (tones.tick, 980, 0.06),
    "noted": (tones.noted, 1400, 0.08),
    "attention": (tones.attention, 520, 0.5),
}


def power(clip: np.ndarray, rate_hz: int = RATE_HZ) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies and power, in bins of about 0.7 Hz."""
    size = 1 << 15
    return np.fft.rfftfreq(size, 1 / rate_hz), np.abs(np.fft.rfft(clip, size)) ** 2


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000])
@pytest.mark.parametrize("name", ALL)
def test_frequency_length_and_level(name: str, rate_hz: int) -> None:
    make, frequency_hz, seconds = ALL[name]
    clip = make(rate_hz)
    assert clip.dtype == np.float32 and abs(len(clip) / rate_hz - seconds) < 0.001
    frequencies, spectrum = power(clip, rate_hz)
    assert abs(frequencies[spectrum.argmax()] - frequency_hz) < 3
    assert 0.15 < np.abs(clip).max() <= 0.22


@pytest.mark.parametrize("name", ALL)
def test_the_band_is_narrow_and_no_other_tone_lies_in_it(name: str) -> None:
    make, frequency_hz, _ = ALL[name]
    frequencies, spectrum = power(make(RATE_HZ))
    near = np.abs(frequencies - frequency_hz) < 50
    assert spectrum[near].sum() > 0.99 * spectrum.sum()
    for _, other_hz, _ in ALL.values():
        if other_hz != frequency_hz:
            band = np.abs(frequencies - other_hz) < 25
            assert 10 * np.log10(spectrum[band].max() / spectrum.max()) < -30


def test_no_tone_is_a_harmonic_of_another() -> None:
    """Small loudspeakers add harmonics (common practice, no source)."""
    frequencies = [frequency_hz for _, frequency_hz, _ in ALL.values()]
    for low in frequencies:
        for high in frequencies:
            for multiple in (2, 3, 4):
                assert abs(low * multiple - high) > 30


@pytest.mark.parametrize("name", ALL)
def test_onset_and_end_are_soft(name: str) -> None:
    clip = np.abs(ALL[name][0](RATE_HZ))
    ten_ms = RATE_HZ // 100
    assert clip[:20].max() < 0.01 and clip[-20:].max() < 0.01
    assert clip[:ten_ms].max() < 0.5 * clip.max()


def test_the_breath_swells_while_the_hand_squeezes_and_then_falls() -> None:
    clip = np.abs(tones.breath(RATE_HZ))
    level = clip[: len(clip) // 20 * 20].reshape(20, -1).max(axis=1)
    assert 10 <= level.argmax() <= 15
    assert (np.diff(level[: level.argmax()]) > 0).all() and (
        np.diff(level[level.argmax() :]) < 0
    ).all()


PACES = {
    "child's breaths": Pace(0, 1, "breaths", 30),
    "adult's breaths": Pace(0, 1, "breaths", 10),
    "pushes": Pace(0, 1, "pushes", 120),
    "pushes and breaths": Pace(0, 1, "pushes", 120, None, 15, 2),
    "suction": Pace(0, 1, "suction", 60, 15),
}


def onsets(sound: np.ndarray) -> np.ndarray:
    """Seconds at which a pulse begins: the level rises above a tenth of its highest."""
    step = RATE_HZ // 200
    level = np.abs(sound[: len(sound) // step * step]).reshape(-1, step).max(axis=1)
    loud = level > 0.1 * level.max()
    return np.flatnonzero(loud[1:] & ~loud[:-1]) / 200 + 1 / 200


@pytest.mark.parametrize("name", PACES)
def test_no_pace_sounds_like_an_alarm(name: str) -> None:
    """IEC 60601-1-8, from memory: high priority is a burst of ten pulses, five and five, within
    a few seconds; medium priority is three; pulses lie less than half a second apart and have at
    least four harmonics. Measured on the sound itself.
    """
    mixer = Mixer(RATE_HZ, lambda text: None)
    mixer.enqueue(PACES[name])
    sound = mixer.render(60 * RATE_HZ)
    begins = onsets(sound)
    beats = [report for report in mixer.take_reports() if isinstance(report, Beat)]
    assert abs(len(begins) - len(beats)) <= 1, "every beat is one pulse"
    assert np.diff(begins).min() > 0.45
    for begin in begins:
        assert ((begins >= begin) & (begins < begin + 1.4)).sum() <= 3, "three at most in 1.4 s"
    frequencies, spectrum = power(sound[: 4 * RATE_HZ])
    strongest = {frequencies[spectrum.argmax()]}
    for fundamental in strongest:
        for multiple in (2, 3, 4, 5):
            band = np.abs(frequencies - multiple * fundamental) < 40
            assert 10 * np.log10(spectrum[band].max() / spectrum.max()) < -30


@pytest.mark.parametrize("name", ["noted", "attention"])
def test_single_tones_are_one_pulse(name: str) -> None:
    clip = np.concatenate([np.zeros(2_000), tones.named(name, RATE_HZ), np.zeros(2_000)])
    assert len(onsets(clip)) == 1


def test_an_unknown_tone_is_a_bug() -> None:
    with pytest.raises(Bug, match="siren"):
        tones.named("siren", RATE_HZ)
