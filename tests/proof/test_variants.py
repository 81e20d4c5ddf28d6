"""Which plans there are: counted by a formula of its own, and every way a fact may be decided."""

import itertools

import pytest
from variants import combinations as counted_in_the_flow_tests

from prompter.proof.variants import (
    CHOICES,
    NEEDS,
    SECTION_10,
    Facts,
    Undecided,
    combinations,
    facts_of,
    undecided,
    words_only,
)


def test_the_variants_of_section_10_are_counted():
    """By hand: with a tube 2 tubes x 3 ways x 2^9 facts; without one a single way and the 3 facts that need no tube; x 3 ages x 2 for a helper."""
    with_tube, without = 2 * 3 * 2**9, 2**3
    everything = 3 * 3 * 2**9
    assert combinations() == ((with_tube + without) * 6, (everything - with_tube - without) * 6)
    found, left_out = counted_in_the_flow_tests()
    assert combinations() == (len(found), left_out)


def leaves(facts: Facts, dimensions: list[str]) -> list[Facts]:
    todo, done = [facts], []
    while todo:
        one = todo.pop()
        open_ = next((d for d in dimensions if d not in one.decided), None)
        if open_ is None:
            done.append(one)
        else:
            todo += one.possibilities(open_)
    return done


@pytest.mark.parametrize("order", [1, -1], ids=["forwards", "backwards"])
def test_deciding_one_fact_after_the_other_brings_every_possible_plan_once(order):
    """Whatever is asked for first: the same plans, each once, as many as there are combinations."""
    found = [facts_of(f.decided) for f in leaves(Facts({}), ["tube", "way", *SECTION_10][::order])]
    assert len(found) == len(set(found)) == combinations()[0] // 6
    for facts in found:
        assert not [f for f in facts if NEEDS.get(f, ("", True))[0] == "tube" and "tube" not in facts]
        assert "tube" in facts or "neck only" in facts


def test_asking_for_an_open_fact_raises_and_a_decided_one_is_known():
    facts = Facts({"tube": "cuffed"})
    assert "tube" in facts and "cuffed" in facts and facts.asked == {"tube"}
    with pytest.raises(Undecided) as asked:
        assert "hard" in facts
    assert asked.value.dimension == "way"
    assert [("hard" in f, "open" in f) for f in facts.possibilities("way")] == [(False, True), (True, False), (False, False)]


def test_a_settled_plan_has_one_of_each_choice():
    for decided in ({}, {"way": "hard"}, {"over catheter": True, "change allowed": True, "tube": "cuffed"}, {"tube": "no tube"}):
        facts = Facts(decided).settled()
        assert len(facts & set(CHOICES["way"])) == 1
        assert {f for f, value in decided.items() if value is True} <= facts


def test_what_only_changes_words_moves_nothing(flow):
    """Each such fact stands in no condition of a way, a step, silence or breath gap, nor of an arm that leads elsewhere."""
    silent = words_only(flow)
    assert "past depth" in silent and "oxygen" in silent and not silent & {"saline", "inner tube", "change at once", "compressions trained"}
    conditions = [line.when for lines in flow.ways.values() for line in lines] + [s.only_if for s in flow.steps.values()]
    assert not {c.removeprefix("not ") for c in itertools.chain(*conditions)} & silent
    assert all(f in undecided(flow).decided for f in silent)
