"""Denied answers said by voices to the real ear: never believed as what they deny. A sample; all of
them by more voices: tests/bench/bench_words.py measure --denied."""

import numpy as np
import pytest
import soxr

from prompter import limits
from prompter.events import Phrase
from prompter.hear.ears import embedded_ear
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.hearing import competing, rivals_of
from prompter.hear.panel import Panel
from prompter.speak.voice import EspeakVoice
from prompter.wordings.allowed import allowed_at
from prompter.wordings.opposites import opposite_answers

DENIED = [
    ("not rising", "look", "rising"), ("it isn't rising", "bag", "rising"),
    ("chest isn't moving", "look", "rising"), ("isn't moving", "look", "moving"),
    ("not awake", "tap", "moving"), ("not breathing fine", "look", "better"),
    ("she's not crying", "lips", "better"), ("it's not clear", "passed", "passed"),
    ("didn't go right down", "passed", "passed"), ("it didn't go in", "tube-in", "tube in"),
    ("not still fine", "watch", "still fine"), ("speaker isn't on", "look", "on speaker"),
    ("we aren't finished", "watch", "finished"), ("they haven't taken over", "pushes", "taken over"),
]  # fmt: skip
"""What is said, at which step, and the answer it denies."""

AFTER_NO = [
    ("no still struggling", "look", "not better"), ("no chest flat", "bag", "flat"),
    ("no it's stuck", "tube-in", "stuck"), ("no getting worse", "watch", "worse"),
    ("no it's blocked", "passed", "won't pass"),
]  # fmt: skip
"""An answer that begins with 'no': it may be believed, but never as its opposite."""

VOICES = (("en-us", 175), ("en-gb+f5", 170))


@pytest.fixture(scope="module")
def whisper() -> EmbeddedEar:
    ear = embedded_ear()
    ear.load()
    return ear


def spoken(text: str, voice: str, rate_wpm: int) -> np.ndarray:
    clip = EspeakVoice(voice, rate_wpm).render(text)
    clip = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
    return (clip * (0.05 / float(np.sqrt(np.mean(clip**2))))).astype(np.float32)


def believed(text: str, step: str, voice: tuple[str, int], ear: EmbeddedEar, flow) -> str | None:
    every = [Phrase(w, a) for a, body in flow.answers.items() for w in body.wordings]
    among = competing(allowed_at(flow, step), rivals_of(every))
    verdict = Panel([ear]).judge(spoken(text, *voice), among)
    return verdict.heard.answer if verdict.believed and verdict.heard else None


@pytest.mark.parametrize("voice", VOICES, ids=lambda v: v[0])
@pytest.mark.parametrize(("text", "step", "answer"), DENIED)
def test_a_denied_answer_is_not_believed_as_what_it_denies(text, step, answer, voice, whisper, flow):
    assert any(p.answer == answer for p in allowed_at(flow, step))
    assert believed(text, step, voice, whisper, flow) != answer


@pytest.mark.parametrize("voice", VOICES, ids=lambda v: v[0])
@pytest.mark.parametrize(("text", "step", "answer"), AFTER_NO)
def test_an_answer_after_a_no_is_not_believed_as_its_opposite(text, step, answer, voice, whisper, flow):
    heard = believed(text, step, voice, whisper, flow)
    assert frozenset((answer, heard)) not in opposite_answers(flow)


def test_the_same_path_does_believe_what_is_said_plainly(whisper, flow):
    """Otherwise the tests above could not fail."""
    right = [
        believed(flow.answers[a].wordings[0], step, voice, whisper, flow) == a
        for a, step in (("rising", "bag"), ("passed", "passed"), ("better", "lips"), ("tube in", "tube-in"), ("flat", "bag"))
        for voice in VOICES
    ]
    assert sum(right) >= 7
