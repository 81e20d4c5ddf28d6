"""Ears together: one that fails or hangs is dropped, the other goes on."""

import threading
import time
from dataclasses import replace

import numpy as np
from hearing_parts import PHRASES, ScriptedDetector, ScriptedEar, drawn, stream, sure_of

from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.endpoint import Endpointer
from prompter.hear.hearing import Heard, Hearing
from prompter.hear.panel import Panel
from prompter.hear.scorer import ThreadScorer

FLAT, RISING = PHRASES[0], PHRASES[2]
SOUND = np.zeros(16_000, np.float32)


def named(phrase: Phrase | None) -> Ranking:
    """What an ear says that only names a phrase."""
    return Ranking("namer", [(phrase, 0.0)] if phrase else [])


def test_one_ear_alone_decides() -> None:
    verdict = Panel([ScriptedEar(sure_of(FLAT))]).judge(SOUND, PHRASES)
    assert verdict.believed and verdict.heard == FLAT and verdict.ears == ("scripted",)


def test_two_ears_that_agree_are_believed() -> None:
    panel = Panel([ScriptedEar(sure_of(FLAT)), ScriptedEar(named(FLAT), name="namer")])
    assert panel.judge(SOUND, PHRASES).believed


def test_an_ear_that_only_names_is_never_believed_alone() -> None:
    verdict = Panel([ScriptedEar(named(FLAT), name="namer")]).judge(SOUND, PHRASES)
    assert not verdict.believed


def test_an_ear_that_raises_is_dropped_and_the_other_decides() -> None:
    bad = ScriptedEar(OSError("gone"), name="bad")
    panel = Panel([bad, ScriptedEar(sure_of(FLAT))])
    assert panel.judge(SOUND, PHRASES).believed
    assert panel.names == ("scripted",)
    assert panel.judge(SOUND, PHRASES).believed
    assert len(bad.asked) == 1
    assert panel.trouble() == ["the ear 'bad' failed and is dropped: OSError: gone"]


def test_a_second_ear_that_raises_is_done_without_and_nobody_is_told() -> None:
    panel = Panel([ScriptedEar(sure_of(FLAT)), ScriptedEar(OSError("gone"), name="namer")])
    assert panel.judge(SOUND, PHRASES).believed and panel.names == ("scripted",)
    assert panel.trouble() == [] and panel.spared() == [("namer", "OSError: gone")] and panel.spared() == []


def looked_at(first: float, closer: Ranking | Exception) -> Panel:
    """One ear: `first` is the score at its first look."""
    looks: list[str] = []

    def look() -> Ranking:
        looks.append("closer")
        if isinstance(closer, Exception):
            raise closer
        return closer

    ranking = replace(sure_of(FLAT), ranked=[(FLAT, first), (RISING, -9.0)], closer=look)
    panel = Panel([ScriptedEar(ranking)])
    panel.looks = looks
    return panel


def test_a_doubt_is_looked_at_closer() -> None:
    panel = looked_at(0.0, sure_of(RISING))
    assert panel.judge(SOUND, PHRASES).heard == RISING and panel.looks == ["closer"]


def test_what_is_clear_or_hopeless_is_not_looked_at_again() -> None:
    for first in (6.0, -6.0):
        panel = looked_at(first, sure_of(RISING))
        assert panel.judge(SOUND, PHRASES).heard == FLAT and panel.looks == []


def test_no_closer_look_is_taken_once_the_speaker_has_gone_on() -> None:
    panel = looked_at(0.0, sure_of(RISING))
    assert panel.judge(SOUND, PHRASES, wanted=lambda: False).heard == FLAT and panel.looks == []


def test_an_ear_that_fails_at_the_closer_look_keeps_its_first_and_is_dropped() -> None:
    panel = looked_at(0.0, OSError("gone"))
    assert panel.judge(SOUND, PHRASES).heard == FLAT
    assert panel.names == () and "gone" in panel.trouble()[0]


def test_without_any_ear_nothing_is_believed() -> None:
    verdict = Panel([]).judge(SOUND, PHRASES)
    assert not verdict.believed and verdict.heard is None


def test_an_ear_that_hangs_is_dropped_while_listening_goes_on() -> None:
    release = threading.Event()

    class Hanging(ScriptedEar):
        def score(self, sound: np.ndarray, phrases: tuple[Phrase, ...], asks_number: bool = False) -> Ranking:
            release.wait(10)
            raise RuntimeError("too late")

    hanging = Hanging(sure_of(RISING), name="hanging")
    hearing = Hearing(
        [hanging, ScriptedEar(sure_of(FLAT))],
        ThreadScorer(hangs_s=0.05),
        endpointer=Endpointer(ScriptedDetector()),
    )
    hearing.expect(PHRASES)
    sound, found = drawn(("speech", 10), ("silence", 20)), []
    try:
        for attempt in range(2):
            begin_ms = attempt * 100_000
            found += stream(hearing, sound, begin_ms)
            for tick in range(200):
                if not hearing.waiting:
                    break
                time.sleep(0.01)
                found += hearing.push(np.zeros(512, np.float32), begin_ms + 2000 + 32 * tick)
    finally:
        release.set()
    heard = [r for r in found if isinstance(r, Heard)]
    assert [h.believed for h in heard] == [False, True]
    assert heard[1].heard == FLAT and heard[1].ears == ("scripted",)
    assert hearing.trouble() == ["the ear 'hanging' failed and is dropped: no answer in time"]
