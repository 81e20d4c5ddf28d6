"""`prompter flow show | lint | schema`, and the schema that is shipped."""

import json
from pathlib import Path

import jsonschema
import pytest
from driver import the_flow
from typer.testing import CliRunner

from prompter.care.reading import read_yaml
from prompter.cli_flow import app, schema_text
from prompter.flow.reading import _FLOW
from prompter.resources import flow_file, shared_file

run = CliRunner().invoke


def test_show_tells_prompts_answers_wordings_and_silence():
    result = run(app, ["show", "--plan", str(shared_file("demo-plan.yaml"))])
    assert result.exit_code == 0
    for part in ("Breathing trouble, version", "tube-check", "“Is the tube in the neck?”", "it came out", "repeats after 4 s, acts after 8 s", "At every step", "said twice"):
        assert part in result.stdout, part
    assert "cuff" not in result.stdout.split("At every step")[0].lower(), "the demonstration tube has no cuff"


@pytest.mark.parametrize("plan", [p.stem for p in shared_file("plans").glob("*.yaml")])
def test_show_names_every_step_of_a_plan(plan):
    result = run(app, ["show", "breathing-trouble", "--plan", str(shared_file("plans", f"{plan}.yaml"))])
    assert result.exit_code == 0 and result.stdout.count("silence") > 20


def test_show_without_a_plan_invents_nothing():
    result = run(app, ["show"])
    assert result.exit_code == 0 and "to your measured depth" in result.stdout and "{" not in result.stdout


@pytest.mark.parametrize("name", ["no-such-flow", "no/such.yaml"])
def test_show_of_nothing_is_one_clear_line(name):
    result = run(app, ["show", name])
    assert result.exit_code == 2 and result.stdout == ""
    assert len(result.stderr.strip().splitlines()) == 1 and "there is no such file" in result.stderr


def test_lint_says_that_there_is_nothing_to_mend():
    result = run(app, ["lint", str(flow_file("breathing-trouble"))])
    assert result.exit_code == 0 and f"({len(the_flow().steps)} steps" in result.stdout


def test_lint_gives_every_problem_with_its_line(tmp_path: Path):
    text = flow_file("breathing-trouble").read_text("utf-8")
    text = text.replace("      passed: { if: [not tube], go: after-check }", "      passed: { if: [not tube], go: after-chek }", 1)
    text = text.replace("go: number-back }", "go: number-bak }", 1)
    bad = tmp_path / "bad.yaml"
    bad.write_text(text, "utf-8")
    result = run(app, ["lint", str(bad)])
    lines = result.stderr.strip().splitlines()
    assert result.exit_code == 2 and len(lines) == 2
    assert all(line.startswith(f"{bad}:") and "Mend: Did you mean" in line for line in lines)


def test_only_what_is_finished_is_offered():
    offered = {c.name or c.callback.__name__ for c in app.registered_commands}
    assert offered >= {"show", "lint", "words", "schema", "approve"}


def test_every_command_and_option_has_help():
    for command in ("show", "lint", "words", "schema"):
        result = run(app, [command, "--help"])
        assert result.exit_code == 0 and len(result.stdout.splitlines()) > 5


def test_the_shipped_schema_is_the_programs_own():
    assert shared_file("schemas", "flow.schema.json").read_text("utf-8") == schema_text() == run(app, ["schema"]).stdout


def test_the_flow_is_valid_by_the_schema_and_bad_ones_are_not():
    """Checked by an independent validator (jsonschema), not by pydantic."""
    schema = json.loads(shared_file("schemas", "flow.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    data = read_yaml(flow_file("breathing-trouble"), _FLOW).data
    assert not [e.message for e in validator.iter_errors(data)][:5]
    for spoil in (lambda d: d.pop("steps"), lambda d: d.update(colour="red"), lambda d: d["rules"].update(hold_s="long"), lambda d: d["call"].update(after="never")):
        bad = json.loads(json.dumps(data))
        spoil(bad)
        assert list(validator.iter_errors(bad))
