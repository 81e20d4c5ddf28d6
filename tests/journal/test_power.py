"""When the power goes, nothing acknowledged is lost; and leaving out a flush would show here."""

import random
from datetime import UTC, datetime
from pathlib import Path

import pytest

from prompter.errors import CannotDo
from prompter.journal import Journal, disk, head, read, read_bytes, repair
from prompter.journal.head import head_path, read_head

_NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)


def test_no_loss_of_power_loses_what_was_acknowledged(tmp_path: Path, losses) -> None:
    lost = losses.power_losses(tmp_path, 200, seed=1)
    assert (lost.losses, lost.events, lost.unreadable) == (200, 0, 0)


@pytest.mark.parametrize("left_out", ["flushes", "folders"])
def test_the_layer_sees_a_flush_that_is_left_out(tmp_path: Path, losses, left_out: str) -> None:
    assert losses.power_losses(tmp_path, 100, seed=1, **{left_out: False}).events > 0


def test_every_damage_is_detected_or_harmless(losses) -> None:
    sound, rng = losses.sample(30), random.Random(2)
    for _ in range(300):
        assert losses.harmless(sound, losses.damaged(sound, rng))


def test_the_damage_is_seen_where_the_check_would_be_left_out(losses) -> None:
    """The check itself can fail: a journal with another event in it is not harmless."""
    assert not losses.harmless(losses.sample(30), losses.sample(31))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "night.jsonl"


def write(path: Path, count: int = 5) -> None:
    journal = Journal.create(path, {"kind": "opened"})
    for n in range(count):
        journal.append({"kind": "note", "text": str(n)}, _NOW, n)
    journal.close()


def test_a_cut_at_a_lines_end_shows(path: Path) -> None:
    write(path)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-2]))
    reading = read(path)
    assert (reading.intact, reading.first_bad, reading.missing) == (False, 5, 2)
    assert "2 acknowledged events are missing" in reading.problem
    with pytest.raises(CannotDo, match="damaged"):
        Journal.reopen(path)


def test_lines_written_anew_show(path: Path) -> None:
    """Cut and gone on with by somebody else: the chain holds, but the head names another line."""
    write(path)
    head = head_path(path).read_bytes()
    path.unlink()
    write(path, 4)
    journal = Journal.reopen(path)
    journal.append({"kind": "note", "text": "another"}, _NOW, 9)
    journal.close()
    assert read(path).intact
    head_path(path).write_bytes(head)
    assert read(path).first_bad == 6


@pytest.mark.parametrize("content", [None, b"", b"\x00" * 114, b'{"seq":99}', b'{"check":"0","digest":"0","seq":99}', b"[" * 4096])
def test_a_head_that_is_missing_or_torn_says_nothing(path: Path, content: bytes | None) -> None:
    write(path)
    assert read_head(path).seq == 6
    head_path(path).unlink()
    if content is not None:
        head_path(path).write_bytes(content)
    assert read_head(path) is None and read(path).intact


def test_a_head_that_cannot_be_written_stops_nothing(path: Path) -> None:
    head_path(path).mkdir(parents=True)
    write(path)
    assert read(path).intact and len(read(path).events) == 6


def test_no_lock_stays_beside_a_closed_journal(path: Path) -> None:
    write(path)
    assert sorted(p.name for p in path.parent.iterdir()) == ["night.jsonl", "night.jsonl.head"]


def test_repair_copies_what_is_sound_and_leaves_the_rest_alone(path: Path, tmp_path: Path) -> None:
    write(path)
    damaged_bytes = path.read_bytes().replace(b'"text":"1"', b'"text":"7"')
    path.write_bytes(damaged_bytes)
    done = repair(path, tmp_path / "new.jsonl")
    assert (done.kept, done.salvaged, done.lost) == (2, 3, 1)
    assert path.read_bytes() == damaged_bytes
    reading = read(done.path)
    assert reading.intact
    assert [e.get("text", e["kind"]) for e in reading.events] == ["opened", "0", "repaired", "2", "3", "4"]
    assert [e["salvaged_seq"] for e in reading.events[3:]] == [4, 5, 6]
    assert done.path.read_bytes().startswith(b"".join(damaged_bytes.splitlines(keepends=True)[:2]))
    with pytest.raises(CannotDo, match="is there already"):
        repair(path, tmp_path / "new.jsonl")
    with pytest.raises(CannotDo, match="nothing to repair"):
        repair(done.path, tmp_path / "newer.jsonl")


def test_any_damage_is_repaired_into_a_whole_journal(tmp_path: Path, losses) -> None:
    sound, rng = losses.sample(12), random.Random(3)
    true = {e["seq"]: e for e in read_bytes(sound).events}
    for n in range(60):
        path = tmp_path / f"{n}.jsonl"
        path.write_bytes(losses.damaged(sound, rng))
        if not read(path).events or read(path).intact:
            continue
        done = repair(path, tmp_path / f"{n}.new.jsonl")
        events = read(done.path).events
        assert read(done.path).intact
        own = [e for e in events if e["kind"] != "repaired"]
        for event in own:
            wanted = true[event.get("salvaged_seq", event["seq"])]
            assert {k: event.get(k) for k in ("kind", "text", "at", "mono_ms")} == {k: wanted.get(k) for k in ("kind", "text", "at", "mono_ms")}


@pytest.mark.parametrize("stopped_at", ["write", "fsync", "ftruncate", "open"])
def test_whatever_stops_it_the_journal_is_free_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stopped_at: str) -> None:
    """An interrupt at any call to the disk; what was raised is kept, and with it all that was being done."""
    raised: list[BaseException] = []

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    for n, begin in enumerate((lambda path: Journal.create(path, {"kind": "opened"}, _NOW), Journal.reopen)):
        path = tmp_path / f"{n}.jsonl"
        if n:
            Journal.create(path, {"kind": "opened"}, _NOW).close()
        with monkeypatch.context() as patch:
            for module in (disk, head):
                patch.setattr(module.os, stopped_at, stopped)
            try:
                begin(path).close()
            except KeyboardInterrupt as interrupt:
                raised.append(interrupt)
        path.unlink(missing_ok=True)
        head_path(path).unlink(missing_ok=True)
        Journal.create(path, {"kind": "opened"}, _NOW).close()
        assert read(path).intact
    assert raised or stopped_at == "ftruncate"
