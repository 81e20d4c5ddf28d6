"""JSON and CSV as the contract names them, and the two commands with their exit codes."""

import csv
import errno
import io
import json
import os
import stat
from pathlib import Path

import pytest
import typer
from pypdf import PdfReader
from typer.testing import CliRunner

from prompter.cli_journal import app as journal_app
from prompter.cli_review import review_command
from prompter.review import as_csv, as_json
from prompter.review.export import CSV_FIELDS
from prompter.review.files import write_private

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


def test_another_library_reads_the_same_csv(incident, tmp_path):
    duckdb = pytest.importorskip("duckdb", reason="duckdb (extra 'test') is not installed")
    path = tmp_path / "a.csv"
    path.write_bytes(as_csv([incident]).encode())
    table = duckdb.read_csv(str(path), header=True, all_varchar=True, delimiter=",", quotechar='"')
    assert tuple(table.columns) == CSV_FIELDS
    found = [dict(zip(CSV_FIELDS, row, strict=True)) for row in table.fetchall()]
    wanted = [{"incident": incident.id, **entry.to_json()} for entry in incident.entries]
    assert [{k: v or "" for k, v in row.items()} for row in found] == [
        {k: str(v) for k, v in row.items()} for row in wanted
    ]
    typed = duckdb.read_csv(str(path), header=True)
    kinds = dict(zip(typed.columns, map(str, typed.types), strict=True))
    assert (kinds["t_s"], kinds["seq"], kinds["at"]) == ("DOUBLE", "BIGINT", "TIMESTAMP WITH TIME ZONE")


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


def test_csv_and_pdf_and_fhir_beside_the_page(journal_file, tmp_path):
    names = {"--pdf": "a.pdf", "--csv": "a.csv", "--fhir": "a.json"}
    flags = [part for flag, name in names.items() for part in (flag, str(tmp_path / name))]
    done = run(app, ["review", str(journal_file), *flags, "--fhir-version", "R4B"])
    assert done.exit_code == 0, done.stderr
    pdf, table, bundle = (tmp_path / name for name in names.values())
    assert "Account of a breathing emergency" in PdfReader(pdf).pages[0].extract_text()
    assert table.read_bytes().startswith(b"incident,seq,at,t_s,kind,row,text,how,detail\r\n")
    kinds = {e["resource"]["resourceType"]: e["resource"] for e in json.loads(bundle.read_text())["entry"]}
    assert kinds["Encounter"]["status"] == "finished"  # R4B's word; R5 says completed
    if os.name == "posix":
        assert {stat.S_IMODE(path.stat().st_mode) for path in (pdf, table, bundle)} == {0o600}


@pytest.mark.parametrize(("form", "ending"), [("pdf", ".pdf"), ("fhir", ".fhir.json"), ("html", ".html")])
def test_each_form_has_its_file_beside_the_journal(journal_file, form, ending):
    done = run(app, ["review", str(journal_file), "--format", form])
    assert done.exit_code == 0
    assert done.stdout.strip() == str(journal_file.with_suffix("")) + ending
    assert journal_file.with_name(f"night{ending}").stat().st_size > 1000


@pytest.mark.parametrize("flag", ["--out", "--pdf", "--csv", "--fhir"])
def test_no_target_that_cannot_be_written_is_a_traceback(journal_file, tmp_path, flag):
    (tmp_path / "file").write_text("")
    out = [] if flag == "--out" else ["--out", str(tmp_path / "page.html")]
    for target in (tmp_path / "file" / "x", tmp_path / "folder"):
        if target.name == "folder":
            target.mkdir(exist_ok=True)
            if flag == "--out":
                continue  # a folder to put the page into
        done = run(app, ["review", str(journal_file), *out, flag, str(target)])
        assert (done.exit_code, len(done.stderr.splitlines())) == (2, 1)
        assert "cannot be written" in done.stderr
        assert "Mend:" in done.stderr


def test_what_is_no_journal_is_one_line(tmp_path):
    for name, data in (("empty", b""), ("noise", b"\x00\xff\n"), ("text", b"hello\n"), ("json", b"{}\n")):
        (tmp_path / name).write_bytes(data)
        done = run(app, ["review", str(tmp_path / name), "--pdf", str(tmp_path / "x.pdf")])
        assert (done.exit_code, len(done.stderr.splitlines())) == (2, 1), name
        assert not (tmp_path / "x.pdf").exists()
    done = run(app, ["review", str(tmp_path)])
    assert (done.exit_code, len(done.stderr.splitlines())) == (2, 1)


def test_one_file_for_two_incidents_is_refused(journal_file, damaged, tmp_path):
    done = run(app, ["review", str(journal_file), str(damaged), "--pdf", str(tmp_path / "x.pdf")])
    assert done.exit_code == 2
    assert "holds one incident" in done.stderr


def test_anonymous_on_the_command_line(journal_file, tmp_path):
    done = run(app, ["review", str(journal_file), "--format", "csv", "--anonymous"])
    assert done.exit_code == 0
    assert "Juno" not in done.stdout
    beside = Path(run(app, ["review", str(journal_file), "--anonymous"]).stdout.strip())
    assert beside.parent == journal_file.parent
    assert "night" not in beside.name
    page = tmp_path / "page.html"
    assert run(app, ["review", str(journal_file), "--anonymous", "--out", str(page)]).exit_code == 0
    assert "night" not in page.read_text()


@pytest.mark.parametrize("flag", ["--out", "--pdf", "--csv", "--fhir"])
@pytest.mark.parametrize("way", ["itself", "a link", "another", "its head"])
def test_nothing_is_written_over_a_record(journal_file, damaged, tmp_path, flag, way):
    renamed = journal_file.rename(tmp_path / "night.log")  # by whatever name
    head = tmp_path / "night.jsonl.head"
    head.write_text("{}\n")
    link = tmp_path / "link.html"
    link.symlink_to(renamed)
    target = {"itself": renamed, "a link": link, "another": damaged, "its head": head}[way]
    before = target.read_bytes()
    out = [] if flag == "--out" else ["--out", str(tmp_path / "page.html")]
    done = run(app, ["review", str(renamed), *out, flag, str(target)])
    assert (done.exit_code, len(done.stderr.splitlines())) == (2, 1)
    assert target.read_bytes() == before


def test_a_page_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    page = write_private(tmp_path / "page.html", "before")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", full)
        with pytest.raises(OSError, match="No space") as caught:
            write_private(page, "after")
    assert caught.value.filename == str(page)
    assert [file.name for file in tmp_path.iterdir()] == ["page.html"]
    assert page.read_text() == "before"
    page.chmod(0o640)  # the owner says otherwise
    assert write_private(page, "after").read_text() == "after"
    assert stat.S_IMODE(page.stat().st_mode) == 0o640
