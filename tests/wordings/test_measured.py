"""The kept summary of what voices were taken for."""

from dataclasses import replace

import pytest

from prompter.errors import CannotDo
from prompter.resources import shared_file
from prompter.wordings.measured import (
    Measured,
    Tally,
    listened_for,
    read_measured,
    worst_of,
    write_measured,
)  # fmt: skip
from prompter.wordings.opposites import opposite_answers


def heard(answer: str | None, taken: str) -> dict[str, str | None]:
    return {"answer": answer, "taken": taken}


@pytest.mark.parametrize(
    ("outcomes", "worst"),
    [
        ([], ("not_heard", "")),
        ([heard("rising", "at once")], ("right", "")),
        ([heard("rising", "at once"), heard("rising", "")], ("asked_again", "")),
        ([heard("rising", "said again")], ("asked_again", "")),
        ([heard(None, "")], ("asked_again", "")),
        ([heard("flat", "")], ("asked_again", "")),
        ([heard("rising", "at once"), heard("flat", "said again")], ("asked_back", "flat")),
        ([heard("flat", "said again"), heard("worse", "at once")], ("taken", "worse")),
        ([heard("a number", "at once")], ("taken", "a number")),
    ],
)
def test_the_worst_of_all_steps_counts(outcomes, worst):
    assert worst_of(outcomes, "rising") == worst


def a_measured(flow) -> Measured:
    tally = Tally(8, right=5, asked_again=1, taken={"flat": 1}, asked_back={"worse": 1}, margin=1.25)
    words = {"fit": {"rising": {"going up": tally}}, "report": {}}
    return Measured(flow.flow, listened_for(flow), {"fit": ["en-us"]}, {"fit": ["clean"]}, words, {"fit": {}})


def test_it_is_read_back_as_it_was_written(flow, tmp_path):
    found = a_measured(flow)
    write_measured(found, tmp_path / "new" / "words.json")
    assert read_measured(tmp_path / "new" / "words.json") == found
    assert found.of("fit", "rising", "going up").taken == {"flat": 1}
    assert found.of("report", "rising", "going up") is None


def test_nothing_measured_is_none_and_a_broken_file_is_one_clear_line(tmp_path):
    assert read_measured(tmp_path / "none.json") is None
    for text in ("{", "[]", '{"flow": 1}', '{"wordings": {}, "denied": [], "flow": 3}'):
        (tmp_path / "bad.json").write_text(text)
        with pytest.raises(CannotDo) as caught:
            read_measured(tmp_path / "bad.json")
        assert "bad.json" in caught.value.one_line() and "Measure again" in caught.value.one_line()


def test_a_new_wording_or_another_set_of_answers_is_noticed(flow):
    found = a_measured(flow)
    assert not found.out_of_date(flow) and "going up" not in found.unmeasured(flow)
    rising = flow.answers["rising"]
    more = rising.model_copy(update={"wordings": [*rising.wordings, "it lifts"]})
    changed = flow.model_copy(update={"answers": flow.answers | {"rising": more}})
    assert found.out_of_date(changed) and "it lifts" in found.unmeasured(changed)
    moved = replace(found, wordings={"fit": {"flat": found.wordings["fit"]["rising"]}})
    assert "going up" in moved.unmeasured(flow), "a measured wording that stands for another answer now"


def test_a_denied_form_believed_as_what_it_denies_is_found(flow):
    denied = {"report": {
        "rising": {"not going up": Tally(4, taken={"rising": 1}), "isn't going up": Tally(4, taken={"flat": 4})},
        "not better": {
            "no still struggling": Tally(4, taken={"not better": 3, "better": 1}),
            "not still bad": Tally(4, asked_back={"not better": 2}),
        },
    }}  # fmt: skip
    found = replace(a_measured(flow), denied=denied)
    assert found.turned_round(flow, "report", "taken") == {"not going up": 1, "no still struggling": 1}
    assert found.turned_round(flow, "report", "asked_back") == {"not still bad": 2}
    assert found.turned_round(flow, "fit", "taken") == {}


def test_no_voice_was_believed_to_say_the_opposite_of_what_it_said(flow):
    """The packaged measurement: four voices that chose nothing, and the four that chose words."""
    found = read_measured(shared_file("words", "breathing-trouble.json"))
    opposites, said = opposite_answers(flow), 0
    for half in ("fit", "report"):
        for answer, texts in found.wordings[half].items():
            for wording, tally in texts.items():
                said += tally.said
                taken = {other for other in tally.taken if frozenset((answer, other)) in opposites}
                assert not taken, (half, wording, taken)
    assert said > 2000 and not any(t.taken for a in found.wordings["report"].values() for t in a.values())
    assert not set(found.voices["fit"]) & set(found.voices["report"])


def test_every_wording_of_the_flow_was_measured(flow):
    assert read_measured(shared_file("words", "breathing-trouble.json")).unmeasured(flow) == []
