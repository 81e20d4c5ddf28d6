"""The real ear and synthetic voices: the phrase starts, what sounds like it does not."""

import threading
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from prompter.errors import CannotDo
from prompter.standby import start_phrase
from prompter.standby.ear import Listening
from prompter.standby.start_phrase import SPOKEN, Found, StartPhrase
from prompter.standby.troubles import Troubles

TALK = (
    "Breathing trouble", "He had breathing trouble yesterday", "No trouble, no trouble at all",
    "Can you bring the blue blanket from the kitchen", "Reading trouble, writing trouble",
    "We had breathing trouble, and then the bus was late",
)  # fmt: skip


@pytest.fixture(scope="module")
def ear() -> StartPhrase:
    phrase = StartPhrase(threads=2)
    phrase.warm_up()
    return phrase


def listening(phrase: Any, told: list[str]) -> Listening:
    return Listening(None, phrase, Troubles(told.append, told.append), threading.Lock())


def starts(phrase: Any, blocks: list[np.ndarray]) -> int:
    ear = listening(phrase, [])
    return sum(ear.hear(block) for block in blocks)


@pytest.mark.parametrize("voice", ["en-us", "en-gb+f2", "en-us+m3"])
def test_the_phrase_starts(ear: StartPhrase, spoken: Any, as_blocks: Callable[..., Any], voice: str) -> None:
    assert starts(ear, as_blocks(spoken(SPOKEN, voice))) == 1


def test_a_breath_between_the_halves_is_allowed(ear: StartPhrase, spoken: Any, as_blocks: Callable[..., Any]) -> None:
    half = spoken("Breathing trouble", "en-us")[16_000:-16_000]
    quiet = np.random.default_rng(1).standard_normal(16_000) * 2e-4
    pause = quiet[: 16_000 // 2].astype(np.float32)
    sound = np.concatenate([quiet.astype(np.float32), half, pause, half, quiet.astype(np.float32)])
    assert starts(ear, as_blocks(sound)) == 1


@pytest.mark.parametrize("text", TALK)
def test_talk_that_is_near_to_it_starts_nothing(ear: StartPhrase, spoken: Any, as_blocks: Callable[..., Any], text: str) -> None:
    for voice in ("en-us", "en-gb+f2"):
        assert starts(ear, as_blocks(spoken(text, voice))) == 0


def test_each_word_of_the_phrase_has_its_own_time(ear: StartPhrase, spoken: Any) -> None:
    """The word times are in order and within the sound; once said, the second half has none."""
    twice, once = spoken(SPOKEN)[8_000:-8_000], spoken("Breathing trouble")[8_000:-8_000]
    times = []
    for sound in (twice, once):
        encoded = ear._model.encode(sound, 400)
        times.append(ear._model.word_ms(encoded, start_phrase.PHRASE))
    assert times[0] == sorted(times[0]) and times[0][-1] <= len(twice) / 16 + 100
    assert min(np.diff(times[0])) >= start_phrase.LEAST_WORD_MS > min(np.diff(times[1]))


def test_an_ear_that_fails_is_told_once_and_left_alone_for_a_while(spoken: Any, as_blocks: Callable[..., Any]) -> None:
    class Broken:
        calls = 0

        def judge(self, piece: np.ndarray) -> Found:
            self.calls += 1
            raise CannotDo("the weights are gone")

    told: list[str] = []
    broken = Broken()
    ear = listening(broken, told)
    for _ in range(3):
        for block in as_blocks(spoken(SPOKEN)):
            assert not ear.hear(block)
    assert broken.calls == 1
    assert told == ["ear: the weights are gone", "Standby understands no words. Start it by key."]


def test_what_is_counted_holds_numbers_alone(ear: StartPhrase, spoken: Any, as_blocks: Callable[..., Any]) -> None:
    listener = listening(ear, [])
    for block in as_blocks(spoken("He had breathing trouble yesterday")):
        listener.hear(block)
    line = listener.counts.line()
    assert "pieces looked at" in line and "breathing" not in line.lower() and "yesterday" not in line
    assert listener.counts.blocks == 0
