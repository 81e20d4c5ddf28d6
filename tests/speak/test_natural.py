"""The natural voice: its phonemes, what happens without it, and (where the extra is installed) its sound."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.speak import natural
from prompter.speak.clips import ClipStore
from prompter.speak.natural import KeptNatural, NaturalVoice, phonemes

there = pytest.mark.skipif(not NaturalVoice.installed(), reason="the extra 'voice' is not installed")
PROMPTS = ("Suction now.", "Inner tube out.", "Bag off.", "Is the chest going up?", "Take off the cap or valve.")


class Spoken:
    """A voice whose clips are as loud as it is told."""

    version = "1"

    def __init__(self, name: str, level: float) -> None:
        self.name, self._level = name, level

    def render(self, text: str) -> np.ndarray:
        return np.full(100, self._level, np.float32)


@pytest.mark.parametrize(
    ("text", "written"),
    [
        # The letters are those of the network's makers: https://github.com/hexgrad/misaki, EN_PHONES.md (from memory).
        ("Suction now.", "sˈʌkʃən nˈW."),
        ("Take nine.", "tˈAk nˈIn."),
        ("Oxygen on, more flow.", "ˈɑksɪʤən ˈɔn, mˈɔɹ flˈO."),
        ("Is the chest going up?", "ɪz ðə ʧˈɛst ɡˌOɪŋ ˈʌp?"),
    ],
)
def test_its_phonemes_are_the_networks_letters(text: str, written: str) -> None:
    assert phonemes(text) == written


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(CannotDo, match="natural low"):
        NaturalVoice("somebody")


def test_without_the_extra_it_says_how_to_mend_that(monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr(natural.importlib.util, "find_spec", lambda name: None if "kokoro" in name else real(name))
    assert not NaturalVoice.installed()
    with pytest.raises(CannotDo) as refused:
        NaturalVoice().render("Suction now.")
    assert "pip install" in refused.value.one_line()


def test_weights_that_are_not_the_known_ones_are_not_loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "part.bin").write_bytes(b"something else")
    monkeypatch.setattr(natural, "_folder", lambda package: tmp_path)
    with pytest.raises(CannotDo, match="not the known ones"):
        NaturalVoice().render("Suction now.")


def test_in_an_emergency_kept_clips_are_spoken_and_the_embedded_voice_stands_in(tmp_path: Path) -> None:
    kept = KeptNatural("natural")
    made_ahead = Spoken(kept.name, 0.5)
    made_ahead.version = kept.version
    ClipStore(tmp_path, made_ahead).prepare(["Suction now."])
    embedded = ClipStore(tmp_path, Spoken("embedded", 0.25))
    store = ClipStore(tmp_path, kept, behind=embedded)
    assert store.lacking(["Suction now.", "Bag off."]) == ["Bag off."]
    assert store.clip("Suction now.")[50] == pytest.approx(0.5, abs=1e-3)
    assert store.clip("Bag off.")[50] == pytest.approx(0.25, abs=1e-3)
    # The stand-in's clip is not kept under the natural voice's name.
    assert ClipStore(tmp_path, kept).lacking(["Bag off."]) == ["Bag off."]


@there
@pytest.mark.parametrize("name", natural.SPEAKERS)
def test_the_embedded_ear_understands_it(name: str) -> None:
    import soxr

    from prompter.hear.embedded_ear import EmbeddedEar

    ear, voice = EmbeddedEar(), NaturalVoice(name)
    ear.load()
    phrases = [Phrase(text, text) for text in PROMPTS]
    quiet = np.zeros(limits.SAMPLE_RATE_HZ // 2, np.float32)
    for text in PROMPTS:
        clip = voice.render(text)
        assert clip.dtype == np.float32 and 0.8 < np.abs(clip).max() <= 0.9 and 0.3 < len(clip) / limits.MIX_RATE_HZ < 4
        heard = soxr.resample(0.3 * clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ).astype(np.float32)
        evidence = ear.score(np.concatenate([quiet, heard, quiet]), phrases).evidence
        assert max(evidence, key=evidence.get) == text, (text, evidence)


@there
def test_the_same_text_gives_the_same_sound_and_nothing_is_refused() -> None:
    voice = NaturalVoice()
    assert np.array_equal(voice.render("Suction now."), voice.render("Suction now."))
    for nothing in ("", " ", "..."):
        with pytest.raises(CannotDo):
            voice.render(nothing)
