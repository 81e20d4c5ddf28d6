"""What is said of a mutant, and that trying them can be interrupted and goes on."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from prompter.errors import CannotDo
from prompter.proof import trying
from prompter.proof.found import Walked
from prompter.proof.mutants import Mutant, mutants_of
from prompter.proof.trying import CAUGHT, HARMLESS, REFUSED, SURVIVES, Tally, Tried, try_all


@pytest.fixture
def few(flow, monkeypatch):
    """Three mutants that need no walk to be told: a refused file, a slip in the tables, a lost prompt."""
    data = flow.model_dump(by_alias=True)
    wanted = ("drop an answer: step tube-check answer in place", "swap targets: step tube-check answers some blood and vent alarm", "drop a prompt: step suction say 1")
    chosen = [m for m in mutants_of(data) if m.what in wanted]
    assert len(chosen) == 3
    monkeypatch.setattr(trying, "mutants_of", lambda _: iter(chosen))
    return chosen


def test_a_fault_is_told_by_what_notices_it(flow, few):
    tally = try_all(flow)
    assert {t.what: t.outcome for t in tally.tried} == {few[0].what: REFUSED, few[1].what: CAUGHT, few[2].what: CAUGHT}
    assert tally.by()["the rows of the clinical tables"] == 1 and tally.share == 1.0 and tally.of == 3


def test_without_the_second_writing_only_the_walks_notice(flow, few, monkeypatch):
    monkeypatch.setattr(trying, "_prepare", lambda _: None)
    monkeypatch.setattr(trying, "_try", lambda number: Tried(number, few[number].what, few[number].operator, SURVIVES))
    monkeypatch.setattr(trying, "ProcessPoolExecutor", lambda workers, mp_context: ThreadPoolExecutor(workers))
    tally = try_all(flow, tables=False)
    assert [t.outcome for t in tally.tried] == [REFUSED, SURVIVES, SURVIVES], "nobody looked into the tables"


def test_it_goes_on_where_it_was(flow, few, tmp_path, monkeypatch):
    kept = tmp_path / "kept.jsonl"
    first = try_all(flow, kept=kept).tried
    lines = kept.read_text().splitlines()
    assert len(lines) == 3
    kept.write_text("\n".join(lines[:2]) + '\n{"state": "torn')
    asked = []
    real = trying._try_these
    monkeypatch.setattr(trying, "_try_these", lambda flow, numbers, tables: real(flow, asked.extend(numbers) or numbers, tables))
    assert try_all(flow, kept=kept).tried == first and asked == [2]


def test_outcomes_of_another_flow_or_other_properties_do_not_count(flow, few, tmp_path):
    kept = tmp_path / "kept.jsonl"
    try_all(flow, kept=kept)
    kept.write_text(kept.read_text().replace(json.loads(kept.read_text().splitlines()[0])["state"], "another"))
    try_all(flow, kept=kept)
    assert len(kept.read_text().splitlines()) == 6


def test_a_file_of_something_else_is_refused_in_one_line(flow, few, tmp_path):
    kept = tmp_path / "kept.jsonl"
    kept.write_text("something\nelse\n")
    with pytest.raises(CannotDo, match="line 1 is no outcome"):
        try_all(flow, kept=kept)


def test_only_what_changes_something_counts():
    def tried(outcome):
        return Tried(0, "", "", outcome, "x" if outcome in (CAUGHT, REFUSED) else "")

    tally = Tally([tried(o) for o in (CAUGHT, CAUGHT, REFUSED, SURVIVES, HARMLESS, HARMLESS)])
    assert tally.share == 0.75 and tally.by() == {"x": 3} and len(tally.those(HARMLESS)) == 2


@pytest.mark.parametrize(("cues", "outcome"), [("same", HARMLESS), ("other", SURVIVES)])
def test_what_no_property_notices_is_harmless_only_with_the_very_same_cues(flow, monkeypatch, cues, outcome):
    """The walks themselves are tested beside this file; here they find nothing."""

    class Nothing:
        def __init__(self, *_, **__):
            self.found = Walked("child", cues=cues)

        def run_from(self, ways, most):
            return self.found

    monkeypatch.setattr(trying, "Walk", Nothing)
    monkeypatch.setattr(trying, "walk_one", lambda *_, **__: (Nothing().found, 0, 0))
    monkeypatch.setattr(trying, "_FLOW", {"data": flow.model_dump(by_alias=True), "cues": ["same", "same"], "entries": {}})
    assert trying._outcome(Mutant("none", "none", lambda data: None)) == (outcome, "")


def test_a_table_that_cannot_be_laid_out_is_refused(flow, monkeypatch):
    def gone(data):
        del data["ways"]["rescue"]

    monkeypatch.setattr(trying, "_FLOW", {"data": flow.model_dump(by_alias=True), "cues": ["", ""], "entries": {}})
    assert trying._outcome(Mutant("none", "none", gone))[0] == REFUSED
