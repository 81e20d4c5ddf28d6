"""JSON and CSV as the contract names them, and the two commands with their exit codes."""

import csv
import io
import json
import os
import stat
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from prompter.cli_journal import app as journal_app
from prompter.cli_review import review_command
from prompter.review import as_csv, as_json

app = typer.Typer()
app.add_typer(journal_app, name="journal")
app.command("review")(review_command)
run = CliRunner().invoke


@pytest.fixture
def damaged(journal_file: Path) -> Path:
    path = journal_file.with_name("damaged.jsonl")
    path.write_bytes(
        journal_file.read_bytes().replace(b'"text":"Ties off."', b'"text":"Ties on!!"')
    )
    return path


def test_json_has_what_the_contract_names(incident):
    (one,) = json.loads(as_json([incident]))["incidents"]
    assert {"id", "started", "duration_s", "outcome", "measures", "timeline"} <= one.keys()
    assert set(one["measures"]) == {
        "first_breath_s",
        "longest_without_breath_s",
        "call_asked_s",
        "on_speaker_s",
        "tube_out_s",
        "tube_proven_s",
        "lowest_spo2",
    }
    assert one["started"] == "2026-03-14T02:41:07.250+01:00"
    assert len(one["timeline"]) == len(incident.events)
    assert {"spoken", "keyed", "assumed", "timed", "not believed", ""} == {
        entry["how"] for entry in one["timeline"]
    }


def test_csv_is_read_back(incident):
    found = list(csv.DictReader(io.StringIO(as_csv([incident]), newline="")))
    assert len(found) == len(incident.events)
    assert {row["incident"] for row in found} == {incident.id}
    assert [row["how"] for row in found if row["text"] == "guide-out → prove"] == ["assumed"]


def test_csv_holds_no_formula(sample, tmp_path):
    from prompter.journal import read
    from prompter.review import build

    path = (
        sample.Story()
        .at(0, "opened")
        .at(1, "moved", machine="care", source="=1+1", target="x", how="@SUM(A1)")
        .write(tmp_path / "a.jsonl")
    )
    rows = list(csv.DictReader(io.StringIO(as_csv([build(read(path), "a")]), newline="")))
    assert (rows[1]["text"], rows[1]["how"]) == ("'=1+1 → x", "'@SUM(A1)")


def test_verify_has_exit_codes_and_one_object(journal_file, damaged, tmp_path):
    good = run(app, ["journal", "verify", str(journal_file), "--json"])
    assert good.exit_code == 0
    assert json.loads(good.stdout) == {
        "events": 243,
        "intact": True,
        "first_bad": None,
        "closed": True,
        "torn_tail": False,
        "missing": 0,
        "problem": "",
        "sounds": {"there": 0, "deleted": 0, "changed": []},
    }
    bad = run(app, ["journal", "verify", str(damaged), "--json"])
    assert bad.exit_code == 1
    verdict = json.loads(bad.stdout)
    assert verdict["intact"] is False
    assert verdict["events"] == verdict["first_bad"] - 1
    text = damaged.read_text().splitlines()
    assert "Ties on!!" in text[verdict["first_bad"] - 1]
    (tmp_path / "nothing.jsonl").write_bytes(b"\x00\xff")
    for name in ("nothing.jsonl", "missing.jsonl"):
        none = run(app, ["journal", "verify", str(tmp_path / name), "--json"])
        assert none.exit_code == 2
        assert none.stdout == ""
        assert len(none.stderr.splitlines()) == 1
        assert "Mend:" in none.stderr


def test_review_writes_a_private_page_beside_the_journal(journal_file):
    done = run(app, ["review", str(journal_file)])
    page = journal_file.with_suffix(".html")
    assert done.exit_code == 0
    assert done.stdout.strip() == str(page)
    assert "Account of a breathing emergency" in page.read_text()
    if os.name == "posix":
        assert stat.S_IMODE(page.stat().st_mode) == 0o600


def test_review_of_several_with_a_damaged_and_a_missing_one(journal_file, damaged, tmp_path):
    done = run(app, ["review", str(journal_file), str(damaged), "--format", "json"])
    assert done.exit_code == 1
    whole, cut = json.loads(done.stdout)["incidents"]
    assert (whole["intact"], cut["intact"]) == (True, False)
    assert 0 < len(cut["timeline"]) < len(whole["timeline"])
    missing = run(
        app, ["review", str(journal_file), "missing.jsonl", "--out", str(tmp_path / "pages")]
    )
    assert missing.exit_code == 2
    assert (tmp_path / "pages" / "night.html").exists()
    assert "missing.jsonl: cannot be read" in missing.stderr
    assert "Traceback" not in missing.output


def test_a_place_that_cannot_be_written_is_one_line(journal_file, tmp_path):
    (tmp_path / "file").write_text("")
    done = run(
        app,
        ["review", str(journal_file), "--format", "csv", "--out", str(tmp_path / "file" / "x.csv")],
    )
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 1
