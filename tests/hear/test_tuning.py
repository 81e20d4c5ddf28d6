"""What recordings show: the worst step counts, and the taught wording stays if it works."""

import numpy as np
from hearing_parts import PHRASES, ScriptedEar, sure_of

from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.tuning import Judge, Judged, WordingFound, advise

FLAT, RISING = Phrase("chest flat", "flat"), Phrase("going up", "rising")


def found(wording: str, *outcomes: str, score: float = 5.0) -> WordingFound:
    return WordingFound(wording, tuple(Judged(o, "bag", score=score) for o in outcomes))


def test_the_real_ear_believes_a_clear_wording_at_every_step(whisper, spoken) -> None:
    steps = [("bag", PHRASES), ("short", PHRASES[:3])]
    judged = Judge([whisper], PHRASES).judge(spoken("chest flat"), "flat", steps)
    assert (judged.outcome, judged.heard, judged.for_answer) == ("believed", "chest flat", "flat")
    assert judged.margin > 0 and judged.score > 1.7


def test_the_same_sound_for_another_answer_is_taken_for_another(whisper, spoken) -> None:
    judged = Judge([whisper], PHRASES).judge(spoken("chest flat"), "rising", [("bag", PHRASES)])
    assert (judged.outcome, judged.for_answer) == ("taken for another", "flat")


def test_the_worst_step_counts(spoken) -> None:
    ear = ScriptedEar(sure_of(FLAT), sure_of(RISING), Ranking("scripted", [(FLAT, -5.0)], window=400))
    steps = [(name, PHRASES) for name in ("one", "two", "three")]
    judged = Judge([ear], PHRASES).judge(spoken("chest flat"), "flat", steps)
    assert (judged.outcome, judged.step, judged.heard) == ("taken for another", "two", "going up")


def test_silence_is_not_heard() -> None:
    judged = Judge([ScriptedEar(sure_of(FLAT))], ()).judge(np.zeros(16_000, np.float32), "flat", [("bag", PHRASES)])
    assert judged.outcome == "not heard"


def test_the_taught_wording_stays_when_it_is_believed_every_time() -> None:
    words = [found("chest flat", "believed", "believed", score=2), found("no rise", "believed", "believed", score=9)]
    assert advise(words, "chest flat").say is words[0]


def test_otherwise_the_surest_of_those_believed_every_time() -> None:
    words = [
        found("chest flat", "believed", "asked again", score=9),
        found("no rise", "believed", "believed", score=3),
        found("no air", "believed", "believed", score=4),
    ]
    assert advise(words, "chest flat").say is words[2]
    assert advise(words, "chest flat").avoid == ()
    assert advise(words[:1], "chest flat").say.grade == "doubtful"


def test_what_was_taken_for_another_is_avoided_even_if_nothing_is_better() -> None:
    words = [found("no rise", "believed", "taken for another"), found("no air", "asked again", "asked again")]
    advice = advise(words, "no rise")
    assert (advice.say, advice.avoid) == (None, ("no rise",))
    better = [*words, found("chest flat", "believed")]
    assert advise(better, "no rise").avoid == ("no rise", "no air")
