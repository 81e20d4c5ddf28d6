"""What stands beside each wording, step by step, and the command that shows it."""

import json

import pytest
from typer.testing import CliRunner

from prompter import cli_words
from prompter.cli_flow import app
from prompter.flow.table import BUILT_IN
from prompter.resources import flow_file
from prompter.wordings.opposites import too_near
from prompter.wordings.overview import Overview

run = CliRunner().invoke


@pytest.fixture(scope="module")
def overview(flow):
    return Overview(flow)


def test_each_step_shows_its_own_answers_with_every_wording(flow, overview):
    for step in overview.steps:
        shown = {here.answer: [w.wording for w in here.words] for here in overview.at(step)}
        assert shown == {a: flow.answers[a].wordings for a in flow.steps[step].answers if a in flow.answers}
        assert all(here.words[0].taught and not any(w.taught for w in here.words[1:]) for here in overview.at(step))


def test_words_that_work_everywhere_are_rivals_of_a_steps_own(flow, overview):
    everywhere = {*flow.everywhere, *BUILT_IN}
    nearest = {w.nearest.answer for here in overview.at("tube-check") for w in here.words}
    assert nearest & everywhere and nearest <= everywhere | set(flow.steps["tube-check"].answers)


def test_an_opposite_is_one_that_can_be_said_here(overview):
    (rising,) = [here for here in overview.at("vent-off") if here.answer == "rising"]
    assert "flat" in rising.opposites and "worse" not in rising.opposites  # not asked for here
    for word in rising.words:
        assert word.nearest_opposite.answer in rising.opposites
        assert word.nearest.distance <= word.nearest_opposite.distance


def test_the_answers_that_work_everywhere_are_shown_once(flow, overview):
    assert [here.answer for here in overview.everywhere()] == list(dict.fromkeys([*flow.everywhere, *BUILT_IN]))


def test_the_command_shows_wordings_distances_and_what_voices_made_of_them():
    result = run(app, ["words"])
    assert result.exit_code == 0, result.output
    for part in ("tube-check", "“still in place”", "opposite “", "At every step", "“hold on”", "; right ", "leads by"):
        assert part in result.stdout, part
    assert "not measured" not in result.stdout and "Changed since" not in result.stdout


def test_the_command_gives_the_same_as_json(overview):
    result = run(app, ["words", "--json"])
    record = json.loads(result.stdout)
    assert result.exit_code == 0 and len(record["too_near"]) == len(too_near(overview.flow))
    assert [s["step"] for s in record["steps"]] == overview.steps
    words = record["steps"][0]["answers"][0]["wordings"]
    assert words[0]["taught"] and 0 <= words[0]["nearest"]["distance"] <= 1
    assert words[0]["measured"]["report"]["said"] >= 4
    assert record["measured"]["unmeasured"] == []


def test_the_matrix_says_which_answers_were_taken_for_which():
    result = run(app, ["words", "--matrix"])
    assert result.exit_code == 0 and "    rising; right " in result.stdout


def test_changed_wordings_and_flows_never_measured_are_said(tmp_path):
    text = flow_file("breathing-trouble").read_text("utf-8")
    file = tmp_path / "mine.yaml"
    file.write_text(text.replace("wordings: [going up,", "wordings: [it is lifting,"), encoding="utf-8")
    changed = run(app, ["words", str(file)])
    assert "Changed since it was measured: it is lifting." in changed.stdout
    assert "“it is lifting”" in changed.stdout and "; not measured" in changed.stdout
    file.write_text(text.replace("flow: breathing-trouble", "flow: mine"), encoding="utf-8")
    for options in ([], ["--matrix"]):
        assert "Not measured" in run(app, ["words", str(file), *options]).stdout
    assert json.loads(run(app, ["words", str(file), "--json"]).stdout)["measured"] is None


def test_a_wording_too_near_an_opposite_one_is_shown(tmp_path):
    text = flow_file("breathing-trouble").read_text("utf-8")
    file = tmp_path / "mine.yaml"
    file.write_text(text.replace("wordings: [chest flat,", "wordings: [chest flat, it's not rising,"), encoding="utf-8")
    shown = run(app, ["words", str(file)]).stdout
    assert "Too near to an opposite answer" in shown and "(its 'not' lost: “it's rising”)" in shown


def test_what_cannot_be_read_is_one_clear_line(tmp_path, monkeypatch):
    missing = run(app, ["words", "no-such-flow"])
    assert missing.exit_code == 2 and len(missing.stderr.strip().splitlines()) == 1
    (tmp_path / "breathing-trouble.json").write_text("{")
    monkeypatch.setattr(cli_words, "shared_file", lambda *_: tmp_path)
    broken = run(app, ["words"])
    assert broken.exit_code == 2 and broken.stdout == ""
    assert "Measure again" in broken.stderr and len(broken.stderr.strip().splitlines()) == 1
