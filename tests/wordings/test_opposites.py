"""Opposite answers sound well apart, and a lost 'not' never makes one of the other."""

import variants

from prompter.errors import CannotDo
from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.flow.table import build
from prompter.limits import DENIED_DISTANCE, OPPOSITE_DISTANCE
from prompter.resources import flow_file
from prompter.wordings.allowed import allowed_at, places
from prompter.wordings.opposites import (
    near_opposites,
    near_when_denied,
    opposite_answers,
    opposite_phrases,
    too_near,
)  # fmt: skip


def test_what_may_be_said_is_what_every_variant_of_the_machine_listens_for(flow):
    steps = set()
    for variant in variants.drawn(seed=4, count=24):
        table = build(flow, variant)
        for name, stand in table.stands.items():
            steps.add(name)
            assert allowed_at(flow, name) == table.phrases(name)
            if stand.visit:
                for other in table.stands:
                    assert allowed_at(flow, name, other) == table.phrases(name, other)
    assert steps >= {step for step, interrupted in places(flow) if interrupted is None}


NEARER = {
    frozenset(("still bad", "still fine")): "the question says 'still bad'; 'still fine' is taught",
    frozenset(("still gasping", "still fine")): "'still fine' is taught",
}
"""Pairs of the flow that are nearer than the limit, with what keeps them until a clinician decides."""


def test_wordings_of_opposite_answers_are_apart_at_every_step(flow):
    near = {frozenset((p.one.text, p.other.text)) for p in too_near(flow) if p.change is None}
    assert near == NEARER.keys() and len(near_opposites(flow)) > 500
    assert all(p.distance >= OPPOSITE_DISTANCE for p in near_opposites(flow)[len(NEARER) :])


def test_a_lost_not_brings_no_wording_near_an_opposite_one(flow):
    pairs = [p for p in near_when_denied(flow) if p.change == "lost"]
    assert len(pairs) > 300 and pairs[0].distance >= OPPOSITE_DISTANCE
    assert not [p for p in too_near(flow) if p.change == "lost"]


def test_an_added_not_brings_no_wording_near_an_opposite_one(flow):
    """But 'it didn't go in' for 'it will not go in', which is what it says."""
    pairs = [p for p in near_when_denied(flow) if p.change == "added"]
    near = [(p.said, p.other.text) for p in pairs if p.distance < DENIED_DISTANCE]
    assert len(pairs) > 1000 and near == [("it didn't go in", "it will not go in")]
    assert [p.said for p in too_near(flow) if p.change == "added"] == ["it didn't go in"]


def test_every_pair_of_opposites_meets_at_some_step(flow):
    met = {frozenset((a.answer, b.answer)) for a, b in opposite_phrases(flow)}
    assert met == opposite_answers(flow)


OTHER_TROUBLE = {"no suction", "came out", "some blood", "vent alarm"}
"""Bad news of something else than what was asked: it denies no breathing."""


def test_good_and_bad_news_of_one_step_are_opposites(flow):
    opposites = opposite_answers(flow)
    for name, step in flow.steps.items():
        news = {a: flow.answers[a].news for a in step.answers if a in flow.answers}
        for good in (a for a in news if news[a] == "good"):
            for bad in (a for a in news if news[a] == "bad"):
                assert frozenset((good, bad)) in opposites or bad in OTHER_TROUBLE, (name, good, bad)


def with_wording(flow: Flow, answer: str, wording: str) -> Flow:
    body = flow.answers[answer]
    more = body.model_copy(update={"wordings": [*body.wordings, wording]})
    return flow.model_copy(update={"answers": flow.answers | {answer: more}})


def test_a_wording_that_comes_too_near_is_found(flow):
    """'Chest fat' for a chest that moves; 'it rises not' and 'not it rises' differ in a 'not' alone."""
    worse = with_wording(flow, "rising", "chest fat")
    nearest = near_opposites(worse)[0]
    assert {nearest.one.text, nearest.other.text} == {"chest fat", "chest flat"}
    assert nearest.distance < OPPOSITE_DISTANCE
    worse = with_wording(flow, "flat", "it's not rising")
    nearest = near_when_denied(worse)[0]
    assert nearest.distance == 0 and "it's rising" in (nearest.said, nearest.other.text)


def test_opposites_must_be_answers_of_the_flow(tmp_path):
    text = flow_file("breathing-trouble").read_text("utf-8")
    for old, new, what in (
        ("  still on: [nothing on]", "  still on: [nothing onn]", "`nothing onn` has no wordings"),
        ("  still on: [nothing on]", "  stil on: [nothing on]", "`stil on` has no wordings"),
        ("  still on: [nothing on]", "  still on: [still on]", "cannot be its own opposite"),
    ):
        assert text.count(old) == 1
        file = tmp_path / "flow.yaml"
        file.write_text(text.replace(old, new), encoding="utf-8")
        line = 1 + text[: text.index(old)].count("\n")
        try:
            load_flow(file)
        except CannotDo as error:
            assert what in error.one_line() and f"flow.yaml:{line}" in error.one_line()
        else:
            raise AssertionError("the flow was taken")
