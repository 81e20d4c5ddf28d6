"""When the program fails: never silence, and never a word against what is going on."""

import numpy as np
import pytest

from prompter import limits
from prompter.events import Pace
from prompter.live import last_resort
from prompter.speak.mixer import Beat, Mixer, PromptStarted

RATE_HZ = 8_000


class Time:
    """Waiting renders sound: a clock without a clock."""

    def __init__(self, mixer: Mixer, until_s: float) -> None:
        self.mixer, self.until_s, self.passed_s = mixer, until_s, 0.0
        self.reports: list[object] = []
        self.sound: list[np.ndarray] = []

    def wait(self, seconds: float) -> None:
        self.passed_s += seconds
        self.sound.append(self.mixer.render(round(seconds * RATE_HZ)))
        self.reports += self.mixer.take_reports()

    def over(self) -> bool:
        return self.passed_s >= self.until_s


def mixer_with_voice() -> Mixer:
    return Mixer(RATE_HZ, lambda text: np.full(limits.MIX_RATE_HZ, 0.1, np.float32))


def test_it_paces_breaths_and_asks_for_the_call() -> None:
    mixer, shown = mixer_with_voice(), []
    time = Time(mixer, 65)
    last_resort.run(mixer, 20.0, time.over, shown.append, time.wait)
    beats = sorted(r.position for r in time.reports if isinstance(r, Beat) and r.what == "breath")
    gaps_s = np.diff(beats) / RATE_HZ
    assert len(beats) >= 18 and np.allclose(gaps_s, 3.0, atol=0.01)
    assert shown[:2] == [last_resort.FIRST, last_resort.NOT_BREATHING]
    assert "Make the call. Speaker on." in shown
    sound = np.concatenate(time.sound)
    silence_s = np.diff(np.flatnonzero(np.abs(sound) > 1e-4)).max() / RATE_HZ
    assert silence_s < 3.0


def test_pushes_that_run_go_on() -> None:
    mixer = mixer_with_voice()
    mixer.enqueue(Pace(0, 1, "pushes", 110.0, None, 30, 2))
    mixer.render(RATE_HZ)
    shown: list[str] = []
    time = Time(mixer, 30)
    last_resort.run(mixer, 20.0, time.over, shown.append, time.wait)
    assert {r.cue for r in time.reports if isinstance(r, Beat)} == {1}
    assert last_resort.NOT_BREATHING not in shown


def test_a_mixer_that_fails_is_outlived_and_the_sentences_are_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    mixer, shown = mixer_with_voice(), []
    time = Time(mixer, 25)

    def broken(*_: object) -> None:
        raise RuntimeError("broken")

    for name in ("enqueue", "hush"):
        monkeypatch.setattr(mixer, name, broken)
    last_resort.run(mixer, 20.0, time.over, shown.append, time.wait)
    assert len(shown) >= 3


def test_sentences_over_a_beat_are_five_words_at_most() -> None:
    """The flow's own rule for prompts while a beat runs (CLINICAL 3.8, common practice)."""
    for text in (last_resort.FIRST, *last_resort.SENTENCES):
        assert len(text.split()) <= 5
    assert len(last_resort.NOT_BREATHING.split()) <= 12


def test_what_is_said_first_is_heard_first() -> None:
    mixer = mixer_with_voice()
    time = Time(mixer, 5)
    last_resort.run(mixer, 20.0, time.over, wait=time.wait)
    started = [r.cue for r in time.reports if isinstance(r, PromptStarted)]
    assert started == sorted(started)
