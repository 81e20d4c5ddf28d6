"""An encrypted journal: only a key opens it, a torn tail loses one line, and nothing waits for a key."""

import base64
import os
import stat
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyrage
import pytest

from prompter.errors import CannotDo
from prompter.journal import Journal, check_sounds, keys, read, repair
from prompter.journal.sealing import own_key_path, own_sealer, sealer_for
from prompter.live.keep_sound import SoundKeeper

NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)
SECRET = "Juno lives at 5 Hill Road"


@pytest.fixture
def family(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the keys; the private one lies elsewhere, at `stick`."""
    folder = tmp_path / "home"
    folder.mkdir()
    public, private = keys.new_key(None)
    (folder / keys.PUBLIC).write_text(public)
    (tmp_path / "stick").write_bytes(private)
    monkeypatch.setattr(keys, "_folders", [folder])
    monkeypatch.setattr(keys, "_opened", {})
    monkeypatch.delenv(keys.KEY_VARIABLE, raising=False)
    return folder


@pytest.fixture
def path(tmp_path: Path, family: Path) -> Path:
    path = tmp_path / "night.jsonl"
    journal = Journal.create(path, {"kind": "opened", "plan_text": SECRET}, NOW, sealer=keys.sealer())
    for n in range(5):
        journal.append({"kind": "note", "text": f"{SECRET} {n}"}, NOW, n)
    journal.close()
    return path


def closed(path: Path) -> None:
    journal = Journal.reopen(path)
    journal.append({"kind": "closed", "outcome": "better"}, NOW, 9)
    journal.close()


def with_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(keys.KEY_VARIABLE, str(tmp_path / "stick"))


def test_nothing_of_it_can_be_read_on_the_disk(path: Path) -> None:
    assert b"Juno" not in path.read_bytes() and b"kind" not in path.read_bytes()
    if os.name == "posix":
        assert stat.S_IMODE(own_key_path(path).stat().st_mode) == 0o600


def test_each_line_is_a_file_that_age_itself_opens(path: Path, tmp_path: Path) -> None:
    identity = pyrage.x25519.Identity.from_str((tmp_path / "stick").read_text().splitlines()[-1])
    for line in path.read_bytes().splitlines():
        assert SECRET.encode() in pyrage.decrypt(base64.b64decode(line), [identity])


def test_while_it_is_open_it_is_taken_up_without_the_familys_key(path: Path) -> None:
    assert len(read(path).events) == 6 and read(path).intact
    journal = Journal.reopen(path)
    journal.append({"kind": "note", "text": SECRET}, NOW, 7)
    journal.close()
    assert len(read(path).events) == 7 and b"Juno" not in path.read_bytes()


def test_once_closed_only_the_family_reads_it(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    closed(path)
    assert not own_key_path(path).exists() and own_sealer(path) is None
    with pytest.raises(CannotDo, match="encrypted, and no key here opens it"):
        read(path)
    with_key(tmp_path, monkeypatch)
    reading = read(path)
    assert reading.intact and reading.closed and reading.events[1]["text"] == f"{SECRET} 0"


def test_another_familys_key_does_not_open_it(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    closed(path)
    (tmp_path / "stick").write_bytes(keys.new_key(None)[1])
    with_key(tmp_path, monkeypatch)
    with pytest.raises(CannotDo, match="no key here"):
        read(path)


@pytest.mark.parametrize("content", [b"", b"AGE-SECRET-KEY-1NOTHING", b"\x00\x01", None])
def test_what_is_no_key_is_one_line(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes | None) -> None:
    closed(path)
    monkeypatch.setenv(keys.PASSPHRASE_VARIABLE, "x")
    (tmp_path / "stick").unlink()
    if content is not None:
        (tmp_path / "stick").write_bytes(content)
    with_key(tmp_path, monkeypatch)
    with pytest.raises(CannotDo):
        read(path)


def test_a_passphrase_protects_the_private_key(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    private = (tmp_path / "stick").read_bytes()
    (tmp_path / "stick").write_bytes(pyrage.passphrase.encrypt(private, "four plain words here"))
    closed(path)
    with_key(tmp_path, monkeypatch)
    monkeypatch.setenv(keys.PASSPHRASE_VARIABLE, "four plain words here")
    assert read(path).intact


@pytest.mark.parametrize("size", [1, 40, 300])
def test_a_torn_tail_loses_the_torn_line_alone(path: Path, size: int) -> None:
    whole = path.read_bytes()
    last = whole.splitlines(keepends=True)[-1]
    path.write_bytes(whole + last[:size])
    reading = read(path)
    assert (reading.torn_tail, len(reading.events), reading.sound_bytes) == (True, 6, len(whole))
    journal = Journal.reopen(path)
    journal.append({"kind": "note", "text": "on"}, NOW, 8)
    journal.close()
    assert read(path).intact and [e["kind"] for e in read(path).events][-2:] == ["fault", "note"]


def test_a_changed_byte_shows_and_repair_keeps_it_encrypted(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    lines[3] = lines[3][:200] + (b"B" if lines[3][200:201] != b"B" else b"C") + lines[3][201:]
    path.write_bytes(b"".join(lines))
    assert read(path).first_bad == 4
    done = repair(path, tmp_path / "new.jsonl")
    assert (done.kept, done.salvaged, done.lost) == (3, 2, 1)
    assert b"Juno" not in done.path.read_bytes()
    with_key(tmp_path, monkeypatch)
    assert read(done.path).intact


def test_without_a_key_in_the_place_journals_are_in_clear(family: Path) -> None:
    (family / keys.PUBLIC).unlink()
    assert keys.sealer() is None


@pytest.mark.parametrize("content", ["", "age1nothing", "\x00", "ssh-rsa AAAA"])
def test_a_public_key_that_is_none_is_one_line(family: Path, content: str) -> None:
    (family / keys.PUBLIC).write_text(content)
    with pytest.raises(CannotDo, match="cannot be used"):
        keys.sealer()
    with pytest.raises(CannotDo):
        sealer_for(content)


def test_kept_sound_is_encrypted_as_well(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = Journal.reopen(path)
    keeper = SoundKeeper(lambda: path, journal.sealer)
    kept = keeper.keep(1, np.sin(np.arange(8_000) / 9).astype(np.float32))
    journal.append({"kind": "heard", **kept}, NOW, 8)
    journal.append({"kind": "closed", "outcome": "better"}, NOW, 9)
    journal.close()
    assert kept["sound"] == "night-sound/001.flac.age"
    with_key(tmp_path, monkeypatch)
    end = time.monotonic() + 10
    while time.monotonic() < end and check_sounds(path, read(path).events).there == 0:
        time.sleep(0.05)
    assert check_sounds(path, read(path).events).there == 1
    assert not (tmp_path / kept["sound"]).read_bytes().startswith(b"fLaC")
