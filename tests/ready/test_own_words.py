"""Recording the answers in calm: in order, resumable, and another wording where one fails."""

import numpy as np
import pytest

from prompter.hear.takes import keep_take
from prompter.hear.tuning import Judged
from prompter.ready.own_words import OwnWords
from prompter.ready.say_this import Made, line, page
from prompter.ready.sayings import Occasion, Saying

FLAT = Saying("flat", "chest flat", ("chest flat", "no rise", "no air"), None)
BLOOD = Saying("bleeding", "bleeding", ("lots of blood", "it's bleeding"), "b")
OCCASIONS = [Occasion("“Is the chest going up?”", (FLAT,)), Occasion("Trouble", (BLOOD,))]
SOUND = np.full(1_600, 0.1, np.float32)


class ScriptedJudge:
    """Outcomes by order of asking; then believed."""

    def __init__(self, *outcomes: str) -> None:
        self.outcomes = list(outcomes)

    def judge(self, sound, answer, steps) -> Judged:
        outcome = self.outcomes.pop(0) if self.outcomes else "believed"
        return Judged(outcome, "bag", heard="chest flat", for_answer=answer, score=3.0, margin=1.0)


class ScriptedScreen:
    """Says yes to everything, until `stop_at` words were shown; writes down what was shown."""

    def __init__(self, stop_at: int = 99, slips: int = 0) -> None:
        self.shown: list[str] = []
        self.stop_at, self.slips, self.unheard = stop_at, slips, 0

    def begin(self, occasion: str, words: int) -> bool:
        return True

    def say(self, wording: str, occasion: str, take: int) -> None:
        if len(self.shown) == self.stop_at:
            raise KeyboardInterrupt
        self.shown.append(wording)

    def nothing_heard(self) -> None:
        self.unheard += 1

    def heard(self, judged: Judged, wording: str) -> None:
        pass

    def keep(self) -> bool:
        self.slips -= 1
        return self.slips < 0

    def other_wording(self, wording: str) -> bool:
        return True


def words(folder, *outcomes: str) -> OwnWords:
    return OwnWords(folder, OCCASIONS, ScriptedJudge(*outcomes), lambda answer, wording: [])


def test_each_taught_wording_is_said_twice_one_at_a_time(tmp_path) -> None:
    own, screen = words(tmp_path / "new"), ScriptedScreen()
    assert own.record(lambda: SOUND, screen) is True
    assert screen.shown == ["chest flat"] * 2 + ["lots of blood"] * 2
    assert own.recordings == 4 == len(list((tmp_path / "new").glob("*.flac")))


def test_stopped_in_the_middle_it_goes_on_from_there(tmp_path) -> None:
    with pytest.raises(KeyboardInterrupt):
        words(tmp_path).record(lambda: SOUND, ScriptedScreen(stop_at=3))
    again, screen = words(tmp_path), ScriptedScreen()
    again.judge_kept()
    assert again.recordings == 3
    assert again.record(lambda: SOUND, screen) and screen.shown == ["lots of blood"]


def test_another_wording_is_tried_until_one_is_always_understood(tmp_path) -> None:
    own = words(tmp_path, "believed", "asked again", "taken for another", "believed")
    screen = ScriptedScreen()
    own.record(lambda: SOUND, screen)
    assert screen.shown[:6] == ["chest flat"] * 2 + ["no rise"] * 2 + ["no air"] * 2
    (flat,) = own.found(OCCASIONS[0])
    assert flat.advice.say.wording == "no air" and flat.advice.avoid == ("no rise",)


def test_a_slip_is_said_again_and_not_kept(tmp_path) -> None:
    own, screen = words(tmp_path, "asked again"), ScriptedScreen(slips=1)
    own.record(lambda: SOUND, screen)
    assert screen.shown[:3] == ["chest flat"] * 3 and own.recordings == 4
    (flat,) = own.found(OCCASIONS[0])
    assert flat.advice.say.grade == "good"


def test_nobody_speaking_leaves_it_for_another_day(tmp_path) -> None:
    own, screen = words(tmp_path), ScriptedScreen()
    assert own.record(lambda: None, screen) is False
    assert own.recordings == 0 and screen.unheard == 6


def test_every_wording_when_asked_for(tmp_path) -> None:
    screen = ScriptedScreen()
    words(tmp_path).record(lambda: SOUND, screen, every_wording=True)
    assert set(screen.shown) == {*FLAT.wordings, *BLOOD.wordings} and len(screen.shown) == 10


def test_the_page_says_what_to_say_and_what_not(tmp_path) -> None:
    for wording in ("chest flat", "no rise"):
        keep_take(tmp_path, wording, SOUND)
    own = words(tmp_path, "taken for another", "believed")
    own.judge_kept()
    parts = [(o.title, own.found(o)) for o in own.occasions]
    flat, blood = (line(found) for _, (found,) in parts)
    assert (flat.say, flat.avoid, flat.weak) == ("no rise", ("chest flat",), False)
    assert (blood.say, blood.key, blood.weak) == ("lots of blood", "b", True)
    from datetime import date

    text = page(parts, Made("<Ana>", "Juno", date(2026, 3, 1), "Breathing trouble", "whisper"))
    assert "&lt;Ana&gt;" in text and "Rather not: chest flat" in text and "1 March 2026" in text
    assert "This is not a medical device." in text
