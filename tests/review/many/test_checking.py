"""The fast reader gives the journal room's verdict, on sound, damaged, cut and sealed journals alike."""

import random

import pytest

pytest.importorskip("orjson", reason="the extra 'many' is not installed")

from prompter.errors import CannotDo
from prompter.journal import read
from prompter.journal.head import Head, HeadFile
from prompter.review.many import checking


def test_the_same_reading_of_a_sound_journal(group):
    for path in sorted((group / "hill").glob("*.jsonl")):
        assert checking.checked(path) == read(path)
        assert checking._sound_events(path.read_bytes()) is not None  # the fast way was taken


def test_the_same_verdict_on_damage(losses, tmp_path):
    sound, path, seen = losses.sample(30), tmp_path / "j.jsonl", set()
    for seed in range(400):
        path.write_bytes(losses.damaged(sound, random.Random(seed)))
        mine, theirs = checking.checked(path), read(path)
        assert mine == theirs
        seen.add(theirs.intact)
    assert False in seen


def test_a_cut_at_a_lines_end_shows_by_the_head(group, tmp_path):
    source = next((group / "hill").glob("*.jsonl"))
    path = tmp_path / "cut.jsonl"
    whole = read(source)
    head = HeadFile(path)
    head.write(Head(len(whole.events), whole.last_digest))
    head.close()
    path.write_bytes(b"".join(source.read_bytes().splitlines(keepends=True)[:-1]))
    reading = checking.checked(path)
    assert not reading.intact and reading.missing == 1


@pytest.mark.parametrize(
    "change",
    [
        lambda e: e | {"v": 2},
        lambda e: e | {"at": "2026-02-30T00:00:00.000Z"},
        lambda e: e | {"at": "2026-02-20 00:00:00.000Z"},
        lambda e: e | {"mono_ms": 1.5},
        lambda e: e | {"kind": None},
        lambda e: {k: v for k, v in e.items() if k != "check"},
    ],
)
def test_a_frame_that_the_journal_room_refuses_is_refused(change, tmp_path):
    """Chained and canonical, but no journal's line."""
    import hashlib

    import rfc8785

    path, lines, prev = tmp_path / "j.jsonl", [], ""
    for seq in (1, 2, 3):
        event = {"v": 1, "seq": seq, "at": "2026-02-20T00:00:00.000Z", "mono_ms": seq, "kind": "note", "prev": prev}
        event["check"] = hashlib.sha256(rfc8785.dumps(event)).hexdigest()[:16]
        line = rfc8785.dumps(change(event) if seq == 2 else event)
        prev = hashlib.sha256(line).hexdigest()
        lines.append(line + b"\n")
    path.write_bytes(b"".join(lines))
    assert checking._sound_events(path.read_bytes()) is None
    assert checking.checked(path) == read(path) and not read(path).intact


def test_a_file_that_cannot_be_read_is_one_line(tmp_path):
    with pytest.raises(CannotDo):
        checking.checked(tmp_path / "gone.jsonl")
