"""Prompts are as loud as the room asks for, never beyond the plan's limits, never clipped."""

import numpy as np
import pytest

from prompter.events import Say
from prompter.limits import MIX_RATE_HZ
from prompter.speak import tones
from prompter.speak.loudness import ABOVE_NOISE_DB, PEAK, USUAL_DB, Limits, gain_db, louder
from prompter.speak.mixer import DUCK_GAIN, SPEECH_GAIN, Mixer
from prompter.speak.speech_level import active_level
from prompter.speak.voice import EspeakVoice

WIDE = Limits(-12, 9)


@pytest.fixture(scope="module")
def clips() -> list[np.ndarray]:
    texts = ("Is the chest going up?", "Take off the cap or valve.", "Suction now. Depth: 9 centimetres.", "Bag off.")
    return [EspeakVoice().render(text) for text in texts]


def test_in_noise_it_speaks_so_far_above_it_as_the_limits_allow() -> None:
    assert gain_db(-40, -24, 0, WIDE) == -1  # 15 dB above the noise would be -25: quieter, but slowly
    assert gain_db(-40, -24, -12, WIDE) == -1
    assert gain_db(-35, -24, 0, WIDE) == ABOVE_NOISE_DB - 35 + 24
    assert gain_db(-10, -24, 0, WIDE) == 9  # no louder, however loud the crying


@pytest.mark.parametrize("noise_db", [-90.0, -60.0, -20.0, 0.0])
@pytest.mark.parametrize("heard_db", [None, -50.0, -24.0, 0.0])
@pytest.mark.parametrize("before_db", [-12.0, 0.0, 9.0])
@pytest.mark.parametrize("limits", [Limits(), WIDE, Limits(0, 0), Limits(-6, 3)])
def test_never_below_the_floor_and_never_above_the_ceiling(noise_db: float, heard_db: float | None, before_db: float, limits: Limits) -> None:
    assert limits.quietest_db <= gain_db(noise_db, heard_db, before_db, limits) <= limits.loudest_db


def test_while_nothing_is_known_it_is_as_loud_as_usual() -> None:
    assert gain_db(None, None, 0, Limits()) == 0
    assert gain_db(None, -30, 0, WIDE) == 0


def test_it_becomes_quieter_step_by_step() -> None:
    gains, now = [], 9.0
    for _ in range(12):
        now = gain_db(-80, -24, now, Limits(0, 9))
        gains.append(now)
    assert gains == [8, 7, 6, 5, 4, 3, 2, 1, 0, 0, 0, 0]


@pytest.mark.parametrize("by_db", [-12.0, -3.0, 3.0, 6.0, 9.0])
def test_no_gain_clips(clips: list[np.ndarray], by_db: float) -> None:
    for clip in clips:
        made = louder(clip, by_db, MIX_RATE_HZ)
        assert made.dtype == np.float32 and len(made) == len(clip)
        assert np.abs(made).max() <= PEAK
    assert SPEECH_GAIN * PEAK + DUCK_GAIN * tones.LEVEL < 1.0


def test_the_limiter_turns_down_and_does_not_cut_off(clips: list[np.ndarray]) -> None:
    for clip in clips:
        made = louder(clip, 6, MIX_RATE_HZ)
        at_peak = np.abs(made) >= PEAK * 0.9999
        assert not (at_peak[:-2] & at_peak[1:-1] & at_peak[2:]).any()  # no flat tops


def test_quieter_is_the_same_sound() -> None:
    clip = EspeakVoice().render("Bag off.")
    assert np.allclose(louder(clip, -6, MIX_RATE_HZ), clip * 10 ** (-6 / 20), atol=1e-7)
    assert louder(clip, 0, MIX_RATE_HZ) is clip


def test_levels_by_itu_p56(clips: list[np.ndarray]) -> None:
    usual = [active_level(clip * SPEECH_GAIN, MIX_RATE_HZ)[0] for clip in clips]
    assert abs(np.mean(usual) - USUAL_DB) < 2.5
    for asked_db, least_db in ((3.0, 2.2), (6.0, 4.0), (9.0, 5.0)):
        for clip in clips:
            gained = active_level(louder(clip, asked_db, MIX_RATE_HZ), MIX_RATE_HZ)[0] - active_level(clip, MIX_RATE_HZ)[0]
            assert least_db < gained <= asked_db + 0.1


def test_the_mixer_speaks_what_comes_next_louder(clips: list[np.ndarray]) -> None:
    m = Mixer(MIX_RATE_HZ, lambda text: clips[0])
    m.enqueue(Say(0, 1, "a", "care", ""))
    usual = m.render(len(clips[0]))
    m.speech_db = 3.0
    m.enqueue(Say(0, 2, "b", "care", ""))
    m.render(MIX_RATE_HZ // 2)
    m2 = Mixer(MIX_RATE_HZ, lambda text: clips[0])
    m2.speech_db = 3.0
    m2.enqueue(Say(0, 1, "a", "care", ""))
    assert np.mean(m2.render(len(clips[0])) ** 2) > 1.6 * np.mean(usual**2)
