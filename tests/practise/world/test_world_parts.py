"""The world's parts: prompts are understood, parameters have sources, intervals are as published, the command speaks."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from prompter.cli_flow import app
from prompter.errors import CannotDo
from prompter.flow.reading import load_flow
from prompter.practise.world.case import draw
from prompter.practise.world.laid_out import lay_out
from prompter.practise.world.parameters import load_parameters, the_parameters
from prompter.practise.world.statistics import quantile, share
from prompter.practise.world.understanding import Meaning, meaning_of
from prompter.resources import flow_file, shared_file


def test_every_prompt_of_every_patient_is_understood() -> None:
    flow, p = load_flow(flow_file("breathing-trouble")), the_parameters()
    texts = {text for kind in range(len(p.tables["patients"])) for text in lay_out(flow, p, kind).table.texts()}
    assert len(texts) > 150
    assert [text for text in texts if meaning_of(text) is None] == []


@pytest.mark.parametrize(("text", "sort", "what"), [
    ("Sam: oxygen on, highest flow.", "do", "oxygen on"), ("Room air works.", "nothing", ""), ("Chest flat? Change tube now.", "ask", "rising"),
    ("Blocked? Ties off, change it.", "do", "ties off"), ("Take off the cap or valve.", "do", "lid off"), ("Ties off.", "do", "ties off"),
    ("Chest flat? Once more.", "again", ""), ("I heard: chest flat.", "echo", ""), ("Oxygen number?", "ask", "number"),
    ("Smaller tube in, along the curve.", "do", "insert smaller"), ("Small mask over the neck hole.", "do", "mask neck"),
])  # fmt: skip
def test_a_prompt_means_what_its_words_say(text: str, sort: str, what: str) -> None:
    assert meaning_of(text) == Meaning(sort, what)


def test_words_nobody_was_taught_are_not_understood() -> None:
    assert meaning_of("Perform the manoeuvre.") is None


def test_the_measured_rates_are_the_readmes() -> None:
    p = the_parameters()
    assert p["hearing.believed"] == pytest.approx(232 / 243, abs=0.005)
    assert p["hearing.wrong"] < 0.0018
    assert p["card.missed"] == 0.23  # Arriaga et al., N Engl J Med 2013;368:246


def test_every_parameter_is_used() -> None:
    """One that nothing reads would be walked for nothing."""
    sources = "".join(path.read_text("utf-8") for path in Path(lay_out.__code__.co_filename).parent.glob("*.py"))
    assert [name for name in the_parameters().each if f'"{name}"' not in sources] == []


@pytest.mark.parametrize(("before", "after", "says"), [
    ("source: \"assumed: one reminder, nobody else there\"", "source: \"\"", "no source"),
    ("value: 0.5, low: 0.2, high: 0.8, source: \"assumed: share of plugs", "value: 0.9, low: 0.2, high: 0.8, source: \"assumed: share of plugs", "range"),
    ("{ value: 25, low: 10, high: 60,", "{ value: 25, low: 10,", "low, high"),
])  # fmt: skip
def test_a_parameter_without_source_or_range_is_refused(tmp_path: Path, before: str, after: str, says: str) -> None:
    text = shared_file("world", "parameters.yaml").read_text("utf-8")
    assert before in text
    bad = tmp_path / "parameters.yaml"
    bad.write_text(text.replace(before, after), "utf-8")
    with pytest.raises(CannotDo, match=says):
        load_parameters(bad)


def test_cases_come_in_the_weights_asked_for() -> None:
    p = the_parameters()
    cases = [draw(seed, p) for seed in range(1500)]
    weights = [kind["weight"] for kind in p.tables["patients"]]
    for kind, weight in enumerate(weights):
        expected = weight / sum(weights)
        found = sum(case.kind == kind for case in cases) / len(cases)
        assert found == pytest.approx(expected, abs=4 * (expected * (1 - expected) / len(cases)) ** 0.5)
    assert {case.cause for case in cases} == set(p.tables["causes"])
    assert all(case.airway.has_tube for case in cases if case.cause in ("came out", "hard plug"))


def test_wilsons_interval_is_as_published() -> None:
    """81 of 263: 0.255 to 0.366; 15 of 148: 0.062 to 0.160 (Newcombe, Stat Med 1998;17:857, table I)."""
    for hits, n, low, high in ((81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605)):
        found = share(hits, n)
        assert (found.low, found.high) == (pytest.approx(low, abs=1e-4), pytest.approx(high, abs=1e-4))


def test_a_median_lies_within_its_interval() -> None:
    found = quantile([float(i) for i in range(1, 101)], 0.5)
    assert (found.value, found.n) == (50, 100)
    # Order statistics 40 and 61 of 100 (tables of the sign test, 95%): the interval here may not be narrower.
    assert found.low is not None and found.low <= 40
    assert found.high is not None and found.high >= 61


def test_the_first_line_says_that_it_is_a_simulation() -> None:
    found = CliRunner().invoke(app, ["simulate", "--runs", "1", "--seed", "11", "--trace"])
    assert "simulation: it proves nothing about patients" in found.stdout.splitlines()[0]
    assert "tube-check" in found.stdout
    assert found.exit_code == 0


def test_a_flow_that_cannot_be_read_ends_with_one_line(tmp_path: Path) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("flow: [", "utf-8")
    found = CliRunner().invoke(app, ["simulate", "--runs", "1", "--flow", str(bad)])
    assert found.exit_code == 2
    assert "Traceback" not in found.output
