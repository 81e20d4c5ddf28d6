"""`prompter journal verify | replay | repair` as a program sees them: exit codes, one line, JSON."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from prompter.cli_journal import app
from prompter.errors import CannotDo
from prompter.journal import Journal

NOW = datetime(2026, 3, 14, tzinfo=UTC)


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    path = tmp_path / "night.jsonl"
    writer = Journal.create(path, {"kind": "opened", "version": "0"})
    for n in range(3):
        writer.append({"kind": "note", "text": str(n)}, NOW, n)
    writer.close()
    return path


def run(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, list(words), catch_exceptions=False)
    return result.exit_code, result.stdout


def test_verify_tells_the_contracts_fields(journal: Path) -> None:
    code, text = run("verify", str(journal), "--json")
    verdict = json.loads(text)
    wanted = {"events": 4, "intact": True, "first_bad": None, "closed": False, "torn_tail": False}
    assert code == 0 and {k: verdict[k] for k in wanted} == wanted


def test_a_damaged_journal_is_exit_code_1_and_can_be_repaired(journal: Path, tmp_path: Path) -> None:
    journal.write_bytes(journal.read_bytes().replace(b'"text":"1"', b'"text":"5"'))
    assert run("verify", str(journal))[0] == 1
    out = tmp_path / "new.jsonl"
    code, text = run("repair", str(journal), "--out", str(out), "--json")
    assert code == 0
    assert json.loads(text) | {"problem": ""} == {"out": str(out), "kept": 2, "salvaged": 1, "lost": 1, "problem": ""}
    assert run("verify", str(out))[0] == 0


def test_what_is_no_journal_is_one_line_and_exit_code_2(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"\x00\n")
    assert run("verify", str(tmp_path / "x"))[0] == 2
    for command in ("replay", "repair"):
        with pytest.raises(CannotDo):  # the top of the program prints it and ends with 2
            run(command, str(tmp_path / "x"))
