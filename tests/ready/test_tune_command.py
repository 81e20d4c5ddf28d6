"""`prompter ears tune` as the caregiver and another program use it."""

import json

import pytest
import soundfile
import soxr
from typer.testing import CliRunner

from prompter import limits
from prompter.care.plan import load_plan
from prompter.cli_ears import app
from prompter.errors import CannotDo
from prompter.flow.reading import load_flow
from prompter.flow.table import BUILT_IN, Variant, build
from prompter.ready.sayings import occasions, steps_to_try
from prompter.resources import flow_file, shared_file
from prompter.speak.voice import EspeakVoice

runner = CliRunner()


@pytest.fixture(scope="module")
def table():
    plan = load_plan(shared_file("demo-plan.yaml"))
    return build(load_flow(flow_file("breathing-trouble")), Variant(plan.facts(), plan.spoken(), plan.numbers()))


def test_every_answer_of_the_plan_is_listed_once(table) -> None:
    listed = [s.answer for o in occasions(table) for s in o.sayings]
    own = {a for stand in table.stands.values() for a in stand.own_answers}
    wanted = {a for a in own | set(table.flow.everywhere) | set(BUILT_IN) if a in table.flow.answers}
    assert len(listed) == len(set(listed)) and set(listed) == wanted


def test_opposite_answers_stand_under_one_question(table) -> None:
    under = {s.answer: o.title for o in occasions(table) for s in o.sayings}
    assert under["rising"] == under["flat"] == "“Is the chest going up?”"
    assert under["passed"] == under["won't pass"] == "“Did the catheter go all the way?”"


def test_a_wording_is_tried_where_it_is_allowed(table) -> None:
    steps = steps_to_try(table)
    for answer, body in table.flow.answers.items():
        for name, allowed in steps(answer, body.wordings[0]) if answer in under_plan(table) else ():
            assert body.wordings[0] in {p.text for p in allowed} and allowed == table.phrases(name)
    assert 1 <= len(steps("flat", "chest flat")) <= limits.TUNED_STEPS


def under_plan(table) -> set[str]:
    return {s.answer for o in occasions(table) for s in o.sayings}


@pytest.fixture
def voice_folder(tmp_path, monkeypatch):
    """Two wordings by a synthetic voice, and a file of neither."""
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path / "home"))
    folder = tmp_path / "takes"
    folder.mkdir()
    for name, text in (("Chest flat 1.wav", "chest flat"), ("going-up.wav", "chest flat"), ("other.wav", "hello")):
        clip = EspeakVoice("en-us", 165).render(text) * 0.3
        sound = soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ)
        soundfile.write(folder / name, sound, limits.SAMPLE_RATE_HZ)
    return folder


def test_a_folder_of_sounds_is_judged(voice_folder, tmp_path) -> None:
    result = runner.invoke(app, ["tune", "--from", str(voice_folder), "--out", str(tmp_path / "say.html"), "--json"])
    assert result.exit_code == 1  # one wording was taken for another
    found = json.loads(result.stdout)
    answers = {row["answer"]: row for row in found["answers"]}
    flat, rising = answers["flat"], answers["rising"]
    assert (flat["say"], flat["avoid"]) == ("chest flat", [])
    assert flat["wordings"][0]["worst"]["score"] > 1.7
    assert (rising["say"], rising["avoid"]) == (None, ["going up"])
    assert rising["wordings"][0]["taken"] == 1
    assert found["ignored"] == ["other.wav"]
    assert "chest flat" in (tmp_path / "say.html").read_text("utf-8")
    assert (tmp_path / "say.html").stat().st_mode & 0o077 == 0


def test_nothing_named_by_a_wording_is_refused(tmp_path) -> None:
    for folder in (tmp_path, tmp_path / "none"):
        result = runner.invoke(app, ["tune", "--from", str(folder), "--json"])
        assert result.exit_code == 2 and result.stdout == ""
        assert len(result.stderr.strip().splitlines()) == 1 and str(folder) in result.stderr


def test_without_a_microphone_one_line_says_how_to_mend_it(monkeypatch, tmp_path) -> None:
    def missing(self) -> None:
        raise CannotDo("the microphone cannot be opened.", "default input", "Plug one in.")

    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path))
    monkeypatch.setattr("prompter.hear.microphone.Microphone.open", missing)
    result = runner.invoke(app, ["tune"])
    assert result.exit_code == 2 and result.stdout == ""
    assert result.stderr == "default input: the microphone cannot be opened. Mend: Plug one in; or judge a folder of recordings: --from.\n"
