"""The fast reader gives the journal room's verdict, on sound, damaged, cut and sealed journals alike."""

import json
import random
from datetime import UTC, datetime

import pytest

pytest.importorskip("msgspec", reason="the extra 'many' is not installed")

from prompter.errors import CannotDo
from prompter.journal import Journal, read
from prompter.journal.head import Head, HeadFile
from prompter.journal.line import Chain
from prompter.journal.sealing import sealer_for
from prompter.review.many import checking


def test_the_same_reading_of_a_sound_journal(group):
    for path in sorted((group / "hill").glob("*.jsonl")):
        found, events = checking.checked(path), read(path).events
        assert checking._sound_lines(path.read_bytes())[0]  # the fast way was taken
        assert not found.problem
        for name in checking.Opened.__struct_fields__:
            told = getattr(found.opened, name)
            assert (json.loads(bytes(told)) if name == "flow_text" else told) == events[0].get(name)
        fields = checking.Line.__struct_fields__
        assert [{f: getattr(line, f) for f in fields} for line in found.lines] == [
            {f: event.get(f) for f in fields} for event in events
        ]


def test_the_same_verdict_on_damage(losses, tmp_path):
    sound, path, seen = losses.sample(30), tmp_path / "j.jsonl", set()
    for seed in range(400):
        path.write_bytes(losses.damaged(sound, random.Random(seed)))
        mine, theirs = checking.checked(path), read(path)
        assert mine.problem == theirs.problem
        assert len(mine.lines) == (len(theirs.events) if theirs.intact else 0)
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
    assert "1 acknowledged event is missing" in checking.checked(path).problem


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
    assert not checking._sound_lines(path.read_bytes())[0]
    assert checking.checked(path).problem == read(path).problem != ""


def test_values_of_another_sort_are_as_good_as_missing(tmp_path):
    """Sound lines by the journal room, whatever their fields hold."""
    chain, now = Chain(), datetime(2026, 2, 20, tzinfo=UTC)
    records = [{"kind": "opened"}, {"kind": "say", "text": ["a"], "role": "care", "cut": 3, "value": {"a": 1}}]
    path = tmp_path / "j.jsonl"
    path.write_bytes(b"".join(chain.next_line(record, now, 0) for record in records))
    found = checking.checked(path)
    assert not found.problem and len(found.lines) == 2
    assert (found.lines[1].text, found.lines[1].role, found.lines[1].value) == (None, "care", None)


def test_an_encrypted_journal_is_read_with_the_familys_key_alone(tmp_path, monkeypatch):
    pyrage = pytest.importorskip("pyrage")
    family = pyrage.x25519.Identity.generate()
    path = tmp_path / "j.jsonl"
    journal = Journal.create(path, {"kind": "opened"}, sealer=sealer_for(str(family.to_public())))
    journal.append({"kind": "closed", "outcome": "better"}, datetime(2026, 2, 20, tzinfo=UTC), 5)
    journal.close()
    with pytest.raises(CannotDo):
        checking.checked(path)
    (tmp_path / "key.txt").write_text(str(family))
    monkeypatch.setenv("PROMPTER_JOURNAL_KEY", str(tmp_path / "key.txt"))
    assert [line.kind for line in checking.checked(path).lines] == ["opened", "closed"]


def test_a_file_that_cannot_be_read_is_one_line(tmp_path):
    with pytest.raises(CannotDo):
        checking.checked(tmp_path / "gone.jsonl")
