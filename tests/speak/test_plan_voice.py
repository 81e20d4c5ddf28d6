"""Whose clips are spoken: as the plan asks, and the embedded voice wherever that cannot be."""

from pathlib import Path

import numpy as np
import pytest

from prompter.speak import natural
from prompter.speak.clips import ClipStore
from prompter.speak.natural import KeptNatural
from prompter.speak.plan_voice import plan_voice

TEXTS = ("Suction now.", "Bag off.")


class Embedded:
    name, version = "embedded", "1"

    def render(self, text: str) -> np.ndarray:
        return np.full(100, 0.25, np.float32)


class MadeAhead(KeptNatural):
    def render(self, text: str) -> np.ndarray:
        return np.full(100, 0.5, np.float32)


def level(store: ClipStore, text: str) -> float:
    clip = store.clip(text)
    assert clip is not None
    return float(np.abs(clip).max())


def test_the_embedded_voice_speaks_where_no_other_is_asked_for(tmp_path: Path) -> None:
    voice = plan_voice(tmp_path, "embedded", Embedded(), lambda: pytest.fail("texts are not needed"))
    assert (voice.name, voice.lacks) == ("embedded", "")
    assert level(voice.clips, TEXTS[0]) == pytest.approx(0.25, abs=1e-3)


def test_what_was_made_ahead_is_spoken_in_the_natural_voice_and_the_rest_in_the_embedded_one(tmp_path: Path) -> None:
    ClipStore(tmp_path, MadeAhead("natural")).prepare(TEXTS[:1])
    voice = plan_voice(tmp_path, "natural", Embedded(), lambda: TEXTS)
    assert voice.name == KeptNatural("natural").name and "1 of 2 prompts were not made ahead" in voice.lacks
    assert level(voice.clips, TEXTS[0]) == pytest.approx(0.5, abs=1e-3)
    assert level(voice.clips, TEXTS[1]) == pytest.approx(0.25, abs=1e-3)


def test_all_made_ahead_lacks_nothing(tmp_path: Path) -> None:
    ClipStore(tmp_path, MadeAhead("natural")).prepare(TEXTS)
    assert plan_voice(tmp_path, "natural", Embedded(), lambda: TEXTS).lacks == ""


def test_whatever_ails_the_natural_voice_the_embedded_one_speaks_and_it_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(name: str) -> KeptNatural:
        raise RuntimeError("weights of another make")

    monkeypatch.setattr(natural, "KeptNatural", broken)
    voice = plan_voice(tmp_path, "natural", Embedded(), lambda: TEXTS)
    assert voice.name == "embedded" and "weights of another make" in voice.lacks
    assert level(voice.clips, TEXTS[0]) == pytest.approx(0.25, abs=1e-3)


def test_without_any_voice_there_is_no_name(tmp_path: Path) -> None:
    voice = plan_voice(tmp_path, "embedded", None, lambda: TEXTS)
    assert voice.name == "" and voice.clips.clip(TEXTS[0]) is None
