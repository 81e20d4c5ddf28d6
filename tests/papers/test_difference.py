"""What changed, in words: nothing for equals, something for every leaf, in sentences a clinician reads."""

import copy
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from prompter.care.plan import Plan, load_plan
from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.papers.difference import flow_changes, plan_changes
from prompter.resources import flow_file, shared_file

FLOW = load_flow(flow_file("breathing-trouble"))
DEMO = load_plan(shared_file("demo-plan.yaml"))


def leaves(node, path=()):
    """Every path that ends in a plain value."""
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else None
    if items is None:
        return [path]
    return [leaf for key, value in items for leaf in leaves(value, (*path, key))]


def mutated(data, path):
    data = copy.deepcopy(data)
    at = data
    for key in path[:-1]:
        at = at[key]
    value = at[path[-1]]
    at[path[-1]] = not value if isinstance(value, bool) else value + 1 if isinstance(value, int | float) else f"{value} x"
    return data


DATA = FLOW.model_dump(mode="json")
ALL = [p for p in leaves(DATA) if p[0] != "joined" or p[2] != "steps"]
"""But in which file a step stands."""


def as_flow(data):
    """Unchecked on purpose: a mutated name leads nowhere, and must be seen all the same."""
    return Raw(data)


class Raw:
    def __init__(self, data):
        self.data = data

    def model_dump(self, mode):
        assert mode == "json"
        return self.data


def test_equal_flows_and_plans_do_not_differ():
    assert flow_changes(FLOW, load_flow(flow_file("breathing-trouble"))) == []
    assert plan_changes(DEMO, load_plan(shared_file("demo-plan.yaml"))) == []


@settings(max_examples=300, deadline=None)
@given(path=st.sampled_from(ALL))
def test_a_change_of_any_leaf_is_told_once(path):
    changed = mutated(DATA, path)
    found = flow_changes(Raw(DATA), Raw(changed))
    assert len(found) == 1, found
    told_new, _, told_old = found[0].partition(" instead of ")
    assert told_old and told_new.split(": ", 1)[1] != told_old, found
    place = next((str(part) for part in path[1:] if isinstance(part, str)), path[0])
    assert path[0] in ("rules", "call", "summary", "trade_words", "switches_to") or len(path) == 1 or place in found[0]


@pytest.mark.parametrize("name", ["steps", "answers", "everywhere", "ways", "effects"])
def test_what_is_gone_or_new_is_named(name):
    changed = copy.deepcopy(DATA)
    key = next(iter(changed[name]))
    del changed[name][key]
    [gone], [new] = flow_changes(Raw(DATA), Raw(changed)), flow_changes(Raw(changed), Raw(DATA))
    assert key in gone and "is gone" in gone and key in new and new.startswith("New ")


def edited(tmp_path: Path, *changes: tuple[str, str]) -> Flow:
    text = flow_file("breathing-trouble").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    file = tmp_path / "flow.yaml"
    file.write_text(text, encoding="utf-8")
    return load_flow(file)


def test_sentences_are_a_clinicians(tmp_path):
    found = flow_changes(
        FLOW,
        edited(
            tmp_path,
            ("silent: { repeat_s: 5, act_s: 10, call: nobody answered, go: rescue }",
             "silent: { repeat_s: 5, act_s: 12, call: nobody answered, go: rescue }"),
            ('say: ["Ties off."]', 'say: ["Ties off now."]'),
            ("      moving: lips\n", ""),
            ("  reminder_s: 20\n", "  reminder_s: 25\n"),
        ),
    )  # fmt: skip
    assert found == [
        "Step 'look', answer 'moving' is no longer taken.",
        "Step 'look', silence: silent branch after 12 s instead of 10 s.",
        "Step 'ties', what is said: says “Ties off now.” instead of “Ties off.”.",
        "The emergency call: reminder every 25 s instead of 20 s.",
    ]


def test_comments_and_order_of_answers_are_no_change(tmp_path):
    same = edited(tmp_path, ("# How to read this file", "# Read this"), ("      moving: lips\n      rising: lips\n", "      rising: lips\n      moving: lips\n"))
    assert flow_changes(FLOW, same) == []


PLAN_LEAVES = [p for p in leaves(DEMO.model_dump()) if p]


@pytest.mark.parametrize("path", PLAN_LEAVES, ids=[".".join(map(str, p)) for p in PLAN_LEAVES])
def test_a_change_of_any_value_of_a_plan_is_told(path):
    data = DEMO.model_dump()
    at = data
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = "changed"
    other = _unchecked(DEMO, data)
    [told] = plan_changes(DEMO, other)
    assert told.startswith("Plan") and "changed" in told and " instead of " in told


def _unchecked(model, data):
    values = {}
    for name in type(model).model_fields:
        old = getattr(model, name)
        values[name] = _unchecked(old, data[name]) if hasattr(old, "model_fields_set") else data[name]
    return type(model).model_construct(**values)


def test_a_plan_that_came_or_went():
    assert "now" in plan_changes(None, DEMO)[0] and "any more" in plan_changes(DEMO, None)[0]
    assert plan_changes(None, None) == [] and isinstance(DEMO, Plan)
