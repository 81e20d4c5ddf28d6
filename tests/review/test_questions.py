"""The questions for the family: one for each thing the record cannot tell, none for what it tells."""

from prompter.journal import read
from prompter.review import build
from prompter.review.questions import MOST, questions


def test_each_uncertainty_has_its_question(incident):
    text = "\n".join(questions(incident))
    for asked in ("0:00 to 1:33: no breath", "2:30 to 2:41: the prompter could hear nobody", "3:51: an answer was taken back",
                  "1:24: nobody answered"):  # fmt: skip
        assert asked in text
    assert "on speaker" not in text
    assert "oxygen number" not in text


def test_an_emergency_that_broke_off_is_asked_about(sample, tmp_path):
    story = sample.Story().at(0, "opened").at(0, "started").at(20, "learned", what="tube", value="out", how="spoken")
    story.at(90, "resumed", gap_ms=40_000)
    found = questions(build(read(story.write(tmp_path / "a.jsonl")), "a"))
    text = "\n".join(found)
    for asked in ("0:50 to 1:30: the prompter had stopped", "phone was on speaker", "never proven open", "oximeter", "not closed"):
        assert asked in text


def test_never_more_than_one_talk_holds(sample, tmp_path):
    story = sample.Story().at(0, "opened").at(0, "started")
    for n in range(40):
        story.moved(n, "a", "b", "assumed")
    assert len(questions(build(read(story.write(tmp_path / "a.jsonl")), "a"))) == MOST


def test_an_assumption_is_asked_about_in_words_not_in_names_of_steps(sample, tmp_path):
    story = sample.Story().at(0, "opened").at(0, "started").say(3, "Is it in?", "tube-in").say(4, "Hold it.", "tube-in")
    story.moved(9, "tube-in", "guide-out", "assumed")
    found = questions(build(read(story.write(tmp_path / "a.jsonl")), "a"))
    told = "0:09: nobody answered “Is it in?”, and the prompter went on from “tube in” to “guide out”. What was really so?"
    assert told in found
