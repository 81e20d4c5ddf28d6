"""The simulated caregiver: answers when asked, repeats when asked again, stays silent when told to."""

import numpy as np
import pytest

from prompter.flow.reading import load_flow
from prompter.limits import MIX_RATE_HZ
from prompter.practise.caregiver import Caregiver, Sees, Utterance
from prompter.practise.script import Script
from prompter.resources import flow_file

FLOW = load_flow(flow_file("breathing-trouble"))


def make(does: dict, **more: object) -> Caregiver:
    script = Script.model_validate(
        {"script": "t", "title": "t", "does": does, "expect": {"outcome": "open", "path": ["tube-check"]}, **more}
    )
    return Caregiver(script, FLOW, lambda text: np.ones(MIX_RATE_HZ, np.float32) * 0.1, np.random.default_rng(3))


def sees(step: str = "tube-check", visit: int = 1, prompts: int = 1, is_open: bool = True, in_beat: bool = False, call_asked_s: float | None = None) -> Sees:
    return Sees(step, visit, is_open, in_beat, prompts, True, False, False, call_asked_s)


def run(caregiver: Caregiver, what: Sees, from_ms: int = 0, for_ms: int = 5000) -> list[Utterance | str]:
    found = (caregiver.act(what, at) for at in range(from_ms, from_ms + for_ms, 32))
    return [one for one in found if one is not None]


def test_answers_once_after_a_human_delay() -> None:
    said = run(make({"tube-check": "in place"}), sees())
    assert [one.answer for one in said] == ["in place"]
    assert said[0].words in FLOW.answers["in place"].wordings
    assert 400 <= said[0].begin_ms <= 1700


def test_does_not_speak_into_an_unfinished_prompt() -> None:
    assert run(make({"tube-check": "in place"}), sees(is_open=False)) == []


def test_says_it_again_when_asked_again_until_understood() -> None:
    caregiver = make({"tube-check": ["in place", "came out"]})
    assert run(caregiver, sees(prompts=1))[0].answer == "in place"
    assert run(caregiver, sees(prompts=2), 6000)[0].answer == "in place"
    caregiver.taken()
    assert run(caregiver, sees(prompts=3), 12_000)[0].answer == "came out"


def test_silence_is_silence_and_counts_as_done() -> None:
    caregiver = make({"tube-check": [{"silent": True}, "in place"]})
    assert run(caregiver, sees(prompts=1)) == []
    assert run(caregiver, sees(prompts=2), 6000)[0].answer == "in place"


def test_talk_to_somebody_else_comes_before_the_answer_and_is_no_answer() -> None:
    caregiver = make({"tube-check": [{"aside": "mind the dog"}, "in place"]})
    first, second = run(caregiver, sees(), for_ms=9000)
    assert (first.words, first.answer) == ("mind the dog", None)
    assert second.answer == "in place"


def test_a_number_is_said_and_a_key_is_pressed() -> None:
    assert run(make({"number": {"number": 88}}), sees("number"))[0].words in ("oxygen 88", "88 percent")
    assert run(make({"tube-check": {"key": "1"}}), sees()) == ["1"]


def test_during_a_beat_only_where_the_script_says_so() -> None:
    beat = sees("suction", is_open=False, in_beat=True)
    assert run(make({"suction": {"say": "won't pass", "during_beat": True}}), beat)[0].answer == "won't pass"
    assert run(make({"suction": "won't pass"}), beat) == []


def test_phone_on_speaker_once_after_the_call_was_asked_for() -> None:
    caregiver = make({"tube-check": {"silent": True}}, speaker_after_s=5)
    assert run(caregiver, sees(call_asked_s=4.9)) == []
    said = run(caregiver, sees(call_asked_s=5.0))
    assert [one.answer for one in said] == ["on speaker"]


@pytest.mark.parametrize(("step", "answers"), [("valve-off", ["done"]), ("look", [])])
def test_elsewhere_the_caregiver_does_what_otherwise_says(step: str, answers: list[str]) -> None:
    caregiver = make({"tube-check": "in place"}, otherwise="done")
    assert [one.answer for one in run(caregiver, sees(step))] == answers
