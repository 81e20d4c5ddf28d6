"""The prompter does not take its own words for the caregiver's, and hears people where it can."""

import numpy as np
import pytest

from prompter import limits
from prompter.live.own_echo import OwnEcho
from prompter.speak.voice import EspeakVoice

BLOCK = limits.BLOCK_SAMPLES
TEXT = "Is the chest moving by itself? Look at the chest."


def blocks_of(text: str, voice: str = "en-us") -> list[np.ndarray]:
    import soxr

    clip = soxr.resample(EspeakVoice(voice).render(text), limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
    return [clip[n : n + BLOCK].astype(np.float32) for n in range(0, len(clip) - BLOCK, BLOCK)]


def speak_once(own: OwnEcho, begin_ms: int, echo_gain: float, delay_blocks: int, noise: float = 1e-4) -> tuple[int, list[np.ndarray]]:
    """One prompt: what the loudspeaker plays, what the microphone hears; the time after it, the
    blocks that were let through while it spoke."""
    random = np.random.default_rng(begin_ms)
    played = blocks_of(TEXT)
    let_through = []
    for number in range(len(played) + 40):
        at_ms = begin_ms + 32 * number
        speaking = number < len(played)
        if speaking:
            own.played(played[number], at_ms)
        mic = noise * random.standard_normal(BLOCK).astype(np.float32)
        if 0 <= number - delay_blocks < len(played):
            mic = mic + echo_gain * played[number - delay_blocks]
        out = own.without(mic, at_ms, speaking, 0.0)
        if speaking:
            let_through.append(out)
    return begin_ms + 32 * (len(played) + 40), let_through


@pytest.mark.parametrize("delay_blocks", [0, 3, 12])
@pytest.mark.parametrize("echo_gain", [0.03, 0.3, 1.0])
def test_where_the_microphone_hears_the_loudspeaker_its_words_are_silenced(echo_gain: float, delay_blocks: int) -> None:
    own, now = OwnEcho(), 0
    for _ in range(4):
        now, let_through = speak_once(own, now, echo_gain, delay_blocks)
        assert max(np.abs(block).max() for block in let_through) == 0
    assert own.echo


def test_with_a_headset_people_may_answer_into_a_prompt() -> None:
    own, now = OwnEcho(), 0
    for _ in range(limits.OWN_ECHO_STRETCHES):
        now, _ = speak_once(own, now, 0.0, 0)
    assert not own.echo
    _, let_through = speak_once(own, now, 0.0, 0)
    assert min(np.abs(block).max() for block in let_through) > 0


def test_when_the_headset_comes_off_it_is_deaf_to_itself_again() -> None:
    own, now = OwnEcho(), 0
    for _ in range(3):
        now, _ = speak_once(own, now, 0.0, 0)
    now, _ = speak_once(own, now, 0.5, 3)
    assert own.echo


def test_sound_outside_of_prompts_is_untouched() -> None:
    own = OwnEcho()
    block = np.ones(BLOCK, np.float32)
    assert own.without(block, 1000, False, 0.0) is block


def test_once_the_room_is_known_people_are_heard_over_a_prompt_and_it_is_not() -> None:
    own, rate = OwnEcho(), limits.SAMPLE_RATE_HZ
    own.counts_for(rate)
    random, late = np.random.default_rng(0), 3  # blocks from the sound card to the microphone
    played = blocks_of(TEXT) * 6
    caregiver = blocks_of("chest flat, no rise", "en-gb+f2")
    begins = len(played) - len(caregiver) - 5
    let_through = []
    for number in range(len(played)):
        at_ms = 32 * number
        own.played(played[number], at_ms)  # handed over now, heard from now on
        mic = 1e-4 * random.standard_normal(BLOCK).astype(np.float32)
        if number >= late:
            mic = mic + 0.4 * played[number - late]
        if begins <= number < begins + len(caregiver):
            mic = mic + 0.4 * caregiver[number - begins]
        sound, own_db = own.cleaned(mic, at_ms, True, 0.0)
        let_through.append(10 * np.log10(np.mean(sound**2) + 1e-12) > own_db)
    assert not any(let_through[:40])  # the room is not known yet
    spoken = [np.mean(block**2) > 1e-3 for block in caregiver]
    heard = let_through[begins : begins + len(caregiver)]
    assert sum(h for h, s in zip(heard, spoken, strict=True) if s) > 0.7 * sum(spoken)
    assert sum(let_through[begins - 60 : begins]) < 6
