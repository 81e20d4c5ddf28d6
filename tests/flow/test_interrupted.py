"""Two due breaths may interrupt a question: what is answered meanwhile counts. Common practice, no source."""

import pytest
from driver import Drive, reach
from ways import ALONE, TO_LAST_BAG

from prompter.events import Moved, Say, Unclear

TO_LIPS = (*TO_LAST_BAG, "rising", "rising")
QUESTION = "Lips: better, or still bad?"


@pytest.fixture
def interrupted() -> Drive:
    """The question about the lips is open, and two breaths have just begun to interrupt it."""
    drive = reach(ALONE, *TO_LIPS)
    assert drive.step == "lips"
    drive.says("hold on").silent_until("gap-breaths", 60)
    assert drive.machine.memory.back == ("lips",)
    return drive


def test_the_answers_of_the_interrupted_question_are_expected_and_have_keys(interrupted: Drive):
    assert {"better", "not better", "flat"} <= {p.answer for p in interrupted.machine.phrases()}
    assert {"better", "not better"} <= {answer for _, answer, _ in interrupted.machine.view().own_keys}


def test_good_news_is_kept_until_the_breaths_are_given_and_not_asked_again(interrupted: Drive):
    begun = interrupted.now
    cues = interrupted.blurts("better")
    assert [c.text for c in cues if isinstance(c, Say)] == ["I heard: breathing well."]
    assert interrupted.step == "gap-breaths"
    interrupted.settle()
    assert interrupted.step == "lips"
    assert any(at > begun for at in interrupted.breath_prompts())
    said = interrupted.texts(begun)
    assert "Breathing well? Once more." in said and QUESTION not in said
    assert interrupted.machine.memory.pending == "better"  # once is not enough, here as elsewhere


def test_bad_news_acts_at_once(interrupted: Drive):
    cues = interrupted.blurts("not better")
    moves = [(c.source, c.target) for c in cues if isinstance(c, Moved) and c.machine == "care"]
    assert moves[0] == ("gap-breaths", "lips") and moves[1][0] == "lips"
    assert interrupted.step in ("bag", "keep-bagging")
    assert interrupted.machine.memory.back == ()


def test_that_was_wrong_takes_a_kept_answer_back(interrupted: Drive):
    begun = interrupted.now
    interrupted.blurts("better")
    interrupted.blurts("wrong")
    interrupted.settle()
    assert interrupted.step == "lips" and interrupted.machine.memory.pending is None
    assert QUESTION in interrupted.texts(begun)


def test_what_sends_elsewhere_forgets_it(interrupted: Drive):
    interrupted.blurts("better")
    interrupted.blurts("came out")
    assert interrupted.machine.memory.kept is None
    assert interrupted.step not in ("lips", "gap-breaths")


def test_an_answer_to_no_question_is_refused_and_changes_nothing(interrupted: Drive):
    before = interrupted.machine.memory.copy()
    cues = interrupted.blurts("tube ready")
    assert [c.kind for c in cues] == ["refused"]
    assert interrupted.machine.memory == before and interrupted.step == "gap-breaths"


def test_a_number_said_meanwhile_is_not_asked_for_again():
    drive = reach(ALONE, *TO_LIPS, "better", "better")
    drive.says("hold on").silent_until("gap-breaths", 60)
    begun = drive.now
    drive.number(97)
    drive.settle()
    assert drive.step in ("settle", "watch")
    assert "Oxygen number?" not in drive.texts(begun)


def test_the_ears_are_told_where_a_number_is_asked_for():
    drive = reach(ALONE, *TO_LIPS)
    assert not drive.machine.asks_number
    drive.says("better", "better")
    assert drive.machine.asks_number
    drive.says("hold on").silent_until("gap-breaths", 60)
    assert drive.machine.asks_number


def test_a_doubtful_number_said_meanwhile_is_asked_back_and_the_same_again_counts():
    drive = reach(ALONE, *TO_LIPS, "better", "better")
    drive.says("hold on").silent_until("gap-breaths", 60)
    begun = drive.now
    cues = drive.feed(Unclear(drive.now, "97", None, 3.0, "spo2", 97))
    assert [c.text for c in cues if isinstance(c, Say)] == ["97? Once more."]
    assert drive.machine.memory.spo2 is None and drive.step == "gap-breaths"
    drive.feed(Unclear(drive.now, "97", None, 3.0, "spo2", 97))
    assert drive.machine.memory.spo2 == 97
    drive.settle()
    assert drive.step in ("settle", "watch")
    assert "Oxygen number?" not in drive.texts(begun)


def test_a_doubtful_answer_said_meanwhile_is_asked_back_and_bad_news_said_again_acts(interrupted: Drive):
    cues = interrupted.mumbles("not better")
    assert [c.kind for c in cues] == ["say"] and interrupted.step == "gap-breaths"
    interrupted.mumbles("not better")
    assert interrupted.step in ("bag", "keep-bagging")


def test_a_doubtful_answer_to_no_question_is_refused(interrupted: Drive):
    assert [c.kind for c in interrupted.mumbles("tube ready")] == ["refused"]
