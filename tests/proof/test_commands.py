"""`prompter flow check | replay | mutants`: what they print, their exit codes, and that a fault's way is walked again."""

import json
from pathlib import Path

import pytest
from ruamel.yaml import YAML
from typer.testing import CliRunner

from prompter import cli_proof
from prompter.cli_flow import app
from prompter.events import Answered
from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.proof.check import PROPERTIES, Checked, Result
from prompter.proof.clinical import look_at_rows
from prompter.proof.mutants import mutants_of
from prompter.proof.traces import Trace, read, replay, trace_of, write
from prompter.proof.found import Path as Way
from prompter.proof.watch import Findings
from prompter.resources import flow_file

run = CliRunner().invoke


@pytest.fixture
def broken_file(tmp_path) -> Path:
    """A flow in which silence at the first question waits for a minute."""
    yaml = YAML()
    body = yaml.load(flow_file("breathing-trouble").read_text(encoding="utf-8"))
    body["rules"]["test_breaths"] = 5
    file = tmp_path / "broken.yaml"
    with file.open("w", encoding="utf-8") as out:
        yaml.dump(body, out)
    return file


def failing(monkeypatch, name: str, way: Way) -> None:
    """Makes the check give one known failure, without the walk's seconds."""
    prop = next(p for p in PROPERTIES if p.name == name)
    checked = Checked("breathing-trouble", 18_480, 9_168, results=[Result(prop, 3, 5.0, "five breaths", way), Result(PROPERTIES[0], 1, 2.0)])
    monkeypatch.setattr(cli_proof, "check", lambda flow, late: checked)


WAY = Way("child", False, {"tube": "uncuffed"}, [Answered(0, "not breathing", "no breaths"), 12])


def test_a_failure_is_printed_with_its_way_and_a_file_that_walks_it_again(monkeypatch, tmp_path, broken_file):
    failing(monkeypatch, "two test breaths at most", WAY)
    result = run(app, ["check", str(broken_file), "--out", str(tmp_path / "traces")])
    assert result.exit_code == 1
    file = tmp_path / "traces" / "breathing-trouble-two-test-breaths-at-most.json"
    for part in ("18,480 variants (9,168 impossible left out)", "Bounded:", "fails", "shortest way: answered not breathing · silence", str(file)):
        assert part in result.stdout, part
    mended = json.loads(file.read_text()) | {"flow": "breathing-trouble"}
    other = tmp_path / "mended.json"
    other.write_text(json.dumps(mended))
    again = run(app, ["replay", str(other)])
    assert again.exit_code == 0 and "It holds now." in again.stdout and "Two gentle squeezes." in again.stdout


def test_json_is_as_promised(monkeypatch, tmp_path):
    failing(monkeypatch, "two test breaths at most", WAY)
    result = run(app, ["check", "--json", "--out", str(tmp_path)])
    body = json.loads(result.stdout)
    assert result.exit_code == 1 and body["flows"][0]["variants"] == 18_480
    first = body["flows"][0]["properties"][0]
    assert (first["name"], first["holds"], first["limit"], first["worst"]) == ("two test breaths at most", False, 2, 5.0)
    assert Path(first["trace"]).exists() and body["flows"][0]["properties"][1]["trace"] is None


@pytest.mark.parametrize(
    ("place", "value", "what"),
    [
        (("start",), "nowhere", "no step `nowhere`"), (("facts",), ["tube", 3.5], "`facts.1`"), (("helper",), "yes", "`helper`"),
        (("events", 0, "answer"), ["came out"], "`events.0"), (("events", 0, "at_ms"), "soon", "`events.0"), (("events", 0, "kind"), "say", "no kind of event"),
        (("events", 1), {"silence": 10**9}, "`events.1`"), (("events", 1), None, "`events.1`"), (("age",), 7, "`age`"), (("trace",), "trace-9", "`trace`"),
    ],
)  # fmt: skip
def test_a_spoilt_trace_is_refused_with_the_place(tmp_path, place, value, what):
    file = tmp_path / "trace.json"
    write(Trace("breathing-trouble", "nothing stops the machine", "", "adult", False, frozenset({"tube"}), (Answered(0, "came out", "it came out"), 2)), file)
    assert run(app, ["replay", str(file)]).exit_code == 0
    body = json.loads(file.read_text())
    inner = body
    for name in place[:-1]:
        inner = inner[name]
    inner[place[-1]] = value
    file.write_text(json.dumps(body))
    result = run(app, ["replay", str(file)])
    assert result.exit_code == 2 and what in result.stderr and len(result.stderr.strip().splitlines()) == 1


def test_what_cannot_be_checked_or_replayed_is_one_line_and_exit_code_2(tmp_path):
    empty, strange = tmp_path / "empty.json", tmp_path / "strange.json"
    empty.write_text("{}")
    strange.write_text(json.dumps({"trace": "trace-1", "flow": "breathing-trouble", "property": "", "detail": "", "age": "old", "helper": True, "facts": [], "events": []}))
    for command in (["check", str(tmp_path / "none.yaml")], ["replay", str(tmp_path / "none.json")], ["replay", str(empty)], ["replay", str(strange)], ["mutants", "nothing"]):
        result = run(app, command)
        assert result.exit_code == 2 and len(result.stderr.strip().splitlines()) == 1, command


def test_a_trace_survives_its_file_and_fails_again_on_the_broken_flow(tmp_path, broken_file):
    from prompter.flow.reading import load_flow

    trace = trace_of(str(broken_file), "two test breaths at most", "five", WAY)
    write(trace, tmp_path / "trace.json")
    assert read(tmp_path / "trace.json") == trace
    told, failed = replay(trace, load_flow(broken_file))
    assert "two test breaths at most" in failed or any("beat: breaths, 2" in line for line in told)


def test_there_are_five_hundred_mutants_at_least_and_each_differs(flow):
    data = flow.model_dump(by_alias=True)
    mutants = list(mutants_of(data))
    assert len(mutants) >= 500 and len({m.operator for m in mutants}) >= 10
    for mutant in mutants[::60]:
        assert mutant.of(data) != data, mutant.what
    assert data == flow.model_dump(by_alias=True), "the flow itself is left alone"


def test_marks_that_a_prompt_sets_or_takes_away_are_put_to_the_test_as_well(flow):
    data = flow.model_dump(by_alias=True)
    dropped = [m for m in mutants_of(data) if m.operator == "drop a mark" and ("inner-out say 1 clear" in m.what or "bag say 1 set" in m.what)]
    assert len(dropped) >= 2
    for mutant in dropped:
        found = Findings()
        look_at_rows(Flow.model_validate(mutant.of(data)), found)
        assert found.failed, mutant.what


def test_the_second_writing_of_the_tables_agrees_and_sees_a_slip(flow):
    found = Findings()
    look_at_rows(flow, found)
    assert found.failed == {} and sum(found.looked.values()) > 400
    data = flow.model_dump(by_alias=True)
    slips = {"steps": ("look", "answers", "not better", 0, "go"), "times": ("look", "silent", 0, "act_s"), "words": ("look", "ask", 0, "say")}
    for name, value, prop in (("steps", "settle", "rows"), ("times", 30, "seconds"), ("words", "Is it well?", "words")):
        twin = json.loads(json.dumps(data))
        place = twin["steps"]
        for part in slips[name][:-1]:
            place = place[part]
        place[slips[name][-1]] = value
        slip = Findings()
        look_at_rows(type(flow).model_validate(twin), slip)
        assert [*slip.failed] == [f"the {prop} of the clinical tables"]


def test_the_second_writing_sees_a_forgotten_mark_and_a_lost_condition(flow):
    """What no step after it happens to ask for would else be noticed by nobody."""
    data = flow.model_dump(by_alias=True)
    slips = (
        (lambda d: d["steps"]["over-catheter"]["enter"]["count"].clear(), "the marks of the clinical tables"),
        (lambda d: d["steps"]["vent-off"]["answers"]["rising"][0]["set"].clear(), "the marks of the clinical tables"),
        (lambda d: d["effects"]["the tube is out"]["clear"].pop(), "the marks of the clinical tables"),
        (lambda d: d["everywhere"]["bleeding"][0]["set"].clear(), "the marks of the clinical tables"),
        (lambda d: d["steps"]["five-breaths"]["say"][3]["if"].pop(), "the words of the clinical tables"),
    )
    for spoil, prop in slips:
        twin = json.loads(json.dumps(data))
        spoil(twin)
        slip = Findings()
        look_at_rows(type(flow).model_validate(twin), slip)
        assert [*slip.failed] == [prop]


def test_properties_have_names_of_their_own_reasons_and_sources():
    assert len({p.name for p in PROPERTIES}) == len(PROPERTIES) >= 45
    assert all(p.reason and p.source for p in PROPERTIES)


def test_a_trace_knows_its_type():
    assert Trace("f", "p", "d", "child", True, frozenset(), (3,)).events == (3,)


THERE = "only what is there is spoken of"
INNER_FACTS = frozenset({"change allowed", "cuffed", "inner needed for bag", "inner tube", "neck only", "on tube", "oxygen", "tube"})


def replayed(flow, *answers: str | int) -> dict[str, str]:
    events = tuple(a if isinstance(a, int) else Answered(0, a, a) for a in answers)
    return replay(Trace(flow.flow, THERE, "", "adult", False, INNER_FACTS, events), flow)[1]


def test_a_new_tube_stands_without_its_inner_tube_also_when_an_answer_is_taken_back():
    flow = load_flow(flow_file("breathing-trouble"))
    assert not replayed(flow, "came out", "not breathing", "tube in", "limp", "moving", "moving", "better", 2, "flat", "wrong", "not better")


def test_an_inner_tube_that_never_was_out_does_not_go_in_when_an_answer_is_taken_back(tmp_path):
    yaml = YAML()
    body = yaml.load(flow_file("breathing-trouble").read_text(encoding="utf-8"))
    body["steps"]["valve-off"]["say"].insert(0, "Clean inner tube in.")
    file = tmp_path / "slip.yaml"
    with file.open("w", encoding="utf-8") as out:
        yaml.dump(body, out)
    flow = load_flow(file)
    assert THERE not in replayed(flow, "mucus", "wrong") and THERE in replayed(flow, "mucus", "wrong", "in place")
