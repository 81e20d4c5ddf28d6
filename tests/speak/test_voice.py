"""The embedded voice: sound, no silence around it, always the same, nothing on standard output."""

import hashlib
import os
import subprocess
import sys
import threading

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.speak import engine_library, espeak
from prompter.speak.trim import trimmed
from prompter.speak.voice import EspeakVoice, list_voices

SENTENCES = (
    "Is the chest going up?",
    "Suction now. Depth: eleven centimetres.",
    "Push the chest with me.",
    "For the operator: breathes through a tube in the neck.",
)


def silence_ms(clip: np.ndarray) -> tuple[float, float]:
    """Silence before and after, counted as the contract does: below -40 dB of the peak."""
    loud = np.flatnonzero(np.abs(clip) > np.abs(clip).max() * 0.01)
    return (
        1000 * loud[0] / limits.MIX_RATE_HZ,
        1000 * (len(clip) - 1 - loud[-1]) / limits.MIX_RATE_HZ,
    )


@pytest.mark.parametrize("text", SENTENCES)
@pytest.mark.parametrize("name", ["en-us", "en-gb", "en-us+f3", "en-gb-scotland+m3"])
def test_a_clip_is_sound_without_silence_around_it(name: str, text: str) -> None:
    clip = EspeakVoice(name).render(text)
    assert clip.dtype == np.float32 and clip.ndim == 1
    # Slow speech is 2 words a second or more, fast speech below 6: nothing lost, nothing added.
    assert len(text.split()) / 6 < len(clip) / limits.MIX_RATE_HZ < len(text.split()) / 2 + 1
    assert 0.8 < np.abs(clip).max() <= 0.9
    assert np.sqrt(np.mean(clip**2)) > 0.03
    before, after = silence_ms(clip)
    assert before < 15 and after < 15


def test_the_engine_alone_begins_in_silence_that_trimming_removes() -> None:
    raw = espeak.speak("Push the chest with me.", "en-us", 160, 50).astype(np.float32)
    assert silence_ms(raw)[0] > 15, "if the engine trims by itself, trimming can go"
    assert silence_ms(trimmed(raw, limits.MIX_RATE_HZ))[0] < 15
    # This engine adds 236 ms after a sentence (measured) when a pause is asked for: it is not.
    assert silence_ms(raw)[1] < 50


def test_trimming_fades_the_edges_and_leaves_silence_empty() -> None:
    square = np.ones(2_000)
    clip = trimmed(np.concatenate([np.zeros(900), square, np.zeros(900)]), limits.MIX_RATE_HZ)
    assert clip[0] == 0 and abs(clip[-1]) < 0.05 and np.abs(np.diff(clip)).max() > 0
    assert len(trimmed(np.zeros(500), limits.MIX_RATE_HZ)) == 0
    assert len(trimmed(np.zeros(0), limits.MIX_RATE_HZ)) == 0
    assert len(trimmed(np.ones(3), limits.MIX_RATE_HZ)) == 3


def test_voices_rates_and_pitches_differ() -> None:
    text = SENTENCES[0]
    variants = [
        EspeakVoice("en-us"),
        EspeakVoice("en-us+f3"),
        EspeakVoice("en-gb"),
        EspeakVoice("en-us", rate_wpm=200),
        EspeakVoice("en-us", pitch=75),
    ]
    assert len({voice.name for voice in variants}) == len(variants)
    assert len({voice.render(text).tobytes() for voice in variants}) == len(variants)
    assert len(variants[3].render(text)) < len(variants[0].render(text))


@pytest.mark.parametrize("name", ["en-us", "en-us+f3", "en-us+whisper"])
def test_the_same_text_gives_the_same_samples_whatever_was_spoken_before(name: str) -> None:
    voice = EspeakVoice(name)
    first = voice.render(SENTENCES[0])
    for other in SENTENCES[1:]:
        voice.render(other)
        EspeakVoice("en-gb").render(other)
    assert np.array_equal(voice.render(SENTENCES[0]), first)


def test_another_process_gives_the_same_samples_and_maps_no_other_engine() -> None:
    program = (
        "import hashlib, sys, threading\n"
        "from prompter.speak import espeak\n"
        "from prompter.speak.voice import EspeakVoice\n"
        "voice = EspeakVoice('en-us+f3')\n"
        "voice.render('Bag off.')\n"
        "print(hashlib.sha256(voice.render('Is the chest going up?').tobytes()).hexdigest())\n"
        "if sys.platform == 'linux':\n"
        "    with espeak._Copy():\n"
        "        maps = open('/proc/self/maps').read().split()\n"
        "        print(*sorted({part for part in maps if 'espeak' in part}), sep='\\n')\n"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    assert ran.stderr == b""
    digest, *mapped = ran.stdout.decode().split("\n")[:-1]
    here = EspeakVoice("en-us+f3").render("Is the chest going up?")
    assert digest == hashlib.sha256(here.tobytes()).hexdigest()
    if sys.platform == "linux":
        assert len(mapped) == 1, mapped
        assert os.path.samefile(mapped[0], engine_library.places()[0])
        assert "espeakng_loader" in mapped[0]


def test_nothing_is_printed(capfd: pytest.CaptureFixture[str]) -> None:
    EspeakVoice("en-us").render(SENTENCES[0])
    with pytest.raises(CannotDo):
        EspeakVoice("nobody")
    assert capfd.readouterr() == ("", "")


def test_every_listed_voice_speaks() -> None:
    voices = list_voices()
    assert {"en-us", "en-gb", "en-gb-scotland", "en-us+f3"} <= set(voices)
    assert len(set(voices)) == len(voices)
    for name in voices:
        assert EspeakVoice(name).name.startswith(name)
    for name in voices[:: len(voices) // 8]:
        assert len(EspeakVoice(name).render("yes")) > 0.1 * limits.MIX_RATE_HZ


def test_threads_take_turns() -> None:
    voice, alone = EspeakVoice("en-us"), [EspeakVoice("en-us").render(text) for text in SENTENCES]
    got: dict[int, list[np.ndarray]] = {}

    def work(number: int) -> None:
        got[number] = [voice.render(text) for text in SENTENCES]

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got) == 4
    for clips in got.values():
        assert all(np.array_equal(a, b) for a, b in zip(clips, alone, strict=True))


@pytest.mark.parametrize(
    "name", ["nobody", "en-us+nobody", "", "en-us+", "en-us+../../phontab", "../phontab"]
)
def test_an_unknown_voice_is_refused(name: str) -> None:
    with pytest.raises(CannotDo, match="no such voice"):
        EspeakVoice(name)


def test_settings_out_of_range_are_refused() -> None:
    with pytest.raises(CannotDo, match="20 words a minute"):
        EspeakVoice("en-us", rate_wpm=20)
    with pytest.raises(CannotDo, match="101 pitch"):
        EspeakVoice("en-us", pitch=101)


@pytest.mark.parametrize("text", ["", "   ", "..."])
def test_a_text_without_words_cannot_be_spoken(text: str) -> None:
    with pytest.raises(CannotDo, match="nothing to speak"):
        EspeakVoice("en-us").render(text)


def test_odd_characters_neither_crash_nor_act() -> None:
    voice = EspeakVoice("en-us")
    for text in ("It's <b>off</b> & [[stop]]", "Zoë: bag off.", "a\0b", "off " * 300, "☎ 5 5 5"):
        assert len(voice.render(text)) > 0


def test_a_missing_engine_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    import espeakng_loader

    monkeypatch.setattr(espeakng_loader, "get_library_path", lambda: "/nowhere/libespeak-ng.so")
    engine_library.places.cache_clear()
    try:
        with pytest.raises(CannotDo) as caught:
            EspeakVoice("en-us")
    finally:
        engine_library.places.cache_clear()
    assert "\n" not in str(caught.value) and "espeakng-loader" in str(caught.value)
