"""Many journals: figures as by hand and as the account of one, nobody named, damage set apart and counted."""

import csv
import io
import re

import pytest

for library in ("ibis", "duckdb", "msgspec", "pyarrow"):
    pytest.importorskip(library, reason="the extra 'many' is not installed")

import duckdb

from prompter import cli
from prompter.errors import CannotDo
from prompter.journal import read
from prompter.review import build
from prompter.review.many.run import review_many


@pytest.fixture(scope="module")
def found(group, tmp_path_factory):
    return review_many(group, tmp_path_factory.mktemp("out"), processes=1)


def rows_of(table, **where):
    return [row for row in table.to_pylist() if all(row[k] == v for k, v in where.items())]


def test_sound_journals_count_once_and_the_others_are_set_apart(found):
    gathered = found.gathered
    assert gathered.journals == 5  # three emergencies, a copy, a rehearsal
    assert found.answers.incidents.num_rows == 3
    assert [file.file for file in gathered.twice] == ["river/copy.jsonl"]
    assert [file.file for file in gathered.apart] == ["lane/001.jsonl", "lane/shopping.jsonl"]
    assert all(file.problem for file in gathered.apart)


def test_each_incident_has_the_times_of_its_own_account(group, found):
    by_id = {row["id"]: row for row in found.answers.incidents.to_pylist()}
    for path in [*(group / "hill").glob("*.jsonl"), group / "river" / "000.jsonl"]:
        told = build(read(path), path.name).to_json()
        row = by_id[told["id"]]
        for name in ("first_breath_s", "call_asked_s", "on_speaker_s", "tube_out_s", "tube_proven_s", "lowest_spo2"):
            assert row[name] == pytest.approx(told["measures"][name], abs=0.0015), name
        assert row["duration_s"] == pytest.approx(told["duration_s"], abs=0.0015)
        assert row["outcome"] == told["outcome"]


def test_figures_by_flow_version_are_those_worked_out_by_hand(found):
    """The sample's first breath is paced at 93 s, its call asked for at 30 s; the others are slower by 1.5 and 2."""
    flows = {row["flow"].split(" (")[0]: row for row in found.answers.flows.to_pylist()}
    assert sorted(flows) == ["breathing-trouble 1", "breathing-trouble 2"]
    one, two = flows["breathing-trouble 1"], flows["breathing-trouble 2"]
    assert (one["incidents"], two["incidents"], two["homes"]) == (1, 2, 2)
    assert one["first_breath_p50_s"] == pytest.approx(93)
    assert two["first_breath_p50_s"] == pytest.approx((139.5 + 186) / 2)
    assert two["call_p50_s"] == pytest.approx((45 + 60) / 2)
    assert two["handed_over"] == 1.0


def test_a_step_that_nobody_answered_stalls(found):
    """Of the sample's steps only guide-out ends by assumption, 13.7 s after it began, asking twice."""
    steps = found.answers.steps.to_pylist()
    assert {row["step"] for row in steps if row["assumed"]} == {"guide-out"}
    (one,) = [row for row in rows_of(found.answers.steps, step="guide-out") if " 1 (" in row["flow"]]
    assert one["stay_p50_s"] == pytest.approx(13.7)
    assert (one["stays"], one["assumed"], one["repeated"]) == (1, 1.0, 0.0)


def test_answers_asked_again_taken_for_others_and_taken_back(found):
    """`better` in doubt at first, then believed; `won't pass` in doubt; `still fine` taken back at once."""
    answers = [row for row in found.answers.answers.to_pylist() if " 1 (" in row["flow"]]
    better = next(row for row in answers if row["answer"] == "better")
    assert (better["step"], better["heard"], better["asked_again"], better["believed"]) == ("look", 2, 0.5, 1)
    fine = next(row for row in answers if row["answer"] == "still fine")
    assert (fine["believed"], fine["taken_back"]) == (2, 1)


def test_an_answer_believed_right_after_another_was_not(write_home, tmp_path):
    def change(story):
        story.hears(97, "chest flat", "flat", 0.2, believed=False).hears(99, "going up", "rising")

    write_home(tmp_path / "a", "Juno", change=change)
    out = review_many(tmp_path, tmp_path / "out", processes=1)
    (pair,) = [row for row in out.answers.confusions.to_pylist() if row["step"] == "bag-after"]
    assert (pair["answer"], pair["then"], pair["times"]) == ("flat", "rising", 1)


def test_prompts_that_needed_repeating(write_home, tmp_path):
    def change(story):
        story.say(60, "New tube in, along the curve.", "tube-in")

    write_home(tmp_path / "a", "Juno", change=change)
    write_home(tmp_path / "b", "Avel")
    out = review_many(tmp_path, tmp_path / "out", processes=1)
    (row,) = rows_of(out.answers.prompts, text="New tube in, along the curve.", step="tube-in")
    assert (row["stays"], row["repeated"], row["most_times"]) == (2, 0.5, 2)


def test_no_output_names_anybody(found):
    """Names and addresses are spoken in the sample's prompts; a journal's folder may name a family."""
    secret = re.compile(rb"Juno|Avel|Tove|Lantern|0 1 4 2|5 5 5")
    for path in found.page.parent.iterdir():
        assert not secret.search(path.read_bytes()), path.name
    words = {row["text"] for row in found.answers.prompts.to_pylist()}
    assert "…: emergency bag and phone. Depth: …." in words


def test_words_of_one_home_are_not_shown(write_home, tmp_path):
    write_home(tmp_path / "a", "Juno", change=lambda story: story.say(6, "Fetch the red bag from Aunt Mia.", "valve-off"))
    write_home(tmp_path / "b", "Avel")
    out = review_many(tmp_path, tmp_path / "out", processes=1)
    for path in out.page.parent.iterdir():
        assert b"Mia" not in path.read_bytes(), path.name


def test_tables_are_read_back_by_other_libraries(found):
    """CSV (RFC 4180) by Python's csv, Parquet by DuckDB's reader."""
    folder = found.page.parent
    for name in ("incidents", "flows", "steps", "answers", "confusions", "prompts", "set-apart"):
        rows = list(csv.reader(io.StringIO((folder / f"{name}.csv").read_text("utf-8"))))
        relation = duckdb.sql(f"SELECT * FROM read_parquet('{folder / name}.parquet')")
        assert relation.columns == rows[0]
        assert len(relation.fetchall()) == len(rows) - 1
    ((longest,),) = duckdb.sql(f"SELECT max(duration_s) FROM read_parquet('{folder / 'incidents'}.parquet')").fetchall()
    assert longest == pytest.approx(600)


def test_the_page_needs_no_network_and_names_every_picture(found):
    page = found.page.read_text("utf-8")
    assert not re.search(r"""(src|href)=["'](?!#)""", page.replace("xlink:href", "href"))
    assert "url(http" not in page and "@import" not in page
    charts = re.findall(r'<svg class="chart".*?<title[^>]*>([^<]+)</title>', page)
    assert "Time to the first paced breath" in charts
    identities = re.findall(r'\bid="([^"]+)"', page)
    assert len(identities) == len(set(identities))
    assert "2 files are damaged or no journals" in page
    assert found.page.stat().st_mode & 0o077 == 0


def test_rehearsals_are_left_out_unless_asked_for(group, found, tmp_path):
    assert "1 rehearsals are left out" in found.page.read_text("utf-8")
    out = review_many(group, tmp_path, rehearsals=True, processes=1)
    assert out.answers.incidents.num_rows == 1
    assert "Rehearsals. The caregivers were simulated" in out.page.read_text("utf-8")


def test_two_processes_find_the_same(group, found, tmp_path, monkeypatch):
    monkeypatch.setattr("prompter.review.many.gathering.PIECE", 2)
    out = review_many(group, tmp_path, processes=2)
    assert out.answers.incidents.equals(found.answers.incidents)
    assert out.answers.steps.equals(found.answers.steps)
    assert out.gathered.apart == found.gathered.apart


def run(capsys, *arguments):
    with pytest.raises(SystemExit) as ended:
        cli.main(["review", *map(str, arguments)])
    return (ended.value.code, *capsys.readouterr())


def test_the_command_writes_the_page_and_counts_what_is_set_apart(group, tmp_path, capsys):
    code, out, err = run(capsys, "--many", group, "--out", tmp_path / "o")
    assert code == 1
    assert out.strip() == str(tmp_path / "o" / "many.html")
    assert "2 of 7 files set apart" in err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--many", "{empty}"], "no journal"),
        (["--many", "{empty}/none"], "no such folder"),
        (["--many", "{group}", "--engine", "abacus"], "no such engine"),
        (["--many", "{group}", "a.jsonl"], "goes with a folder alone"),
        ([], "no journal is named"),
    ],
)
def test_what_cannot_be_done_is_one_line(arguments, says, group, tmp_path, capsys):
    code, _, err = run(capsys, *(a.format(empty=tmp_path, group=group) for a in arguments))
    assert code == 2 and says in err and len(err.strip().splitlines()) == 1


def test_a_missing_library_names_the_install(group, capsys, monkeypatch):
    import sys

    for name in [n for n in sys.modules if n.startswith("prompter.review.many.") or n.split(".")[0] == "ibis"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "ibis", None)
    code, _, err = run(capsys, "--many", group)
    assert code == 2 and 'pip install "prompter[many]"' in err and len(err.strip().splitlines()) == 1


def test_nothing_sound_is_one_line(tmp_path):
    (tmp_path / "a.jsonl").write_text("milk\n")
    with pytest.raises(CannotDo, match="no sound journal"):
        review_many(tmp_path, tmp_path / "out", processes=1)
