"""The fast reader gives the journal room's verdict, on sound, damaged, cut and sealed journals alike."""

import hashlib
import json
import os
import random
from datetime import UTC, datetime

import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

msgspec = pytest.importorskip("msgspec", reason="the extra 'many' is not installed")

from prompter.errors import CannotDo
from prompter.journal import Journal, read
from prompter.journal.head import Head, HeadFile
from prompter.journal.line import Chain
from prompter.journal.sealing import sealer_for
from prompter.review.many import checking, rows
from prompter.review.many.gathering import gather
from prompter.review.many.run import review_many


def test_the_same_reading_of_a_sound_journal(group):
    for path in sorted((group / "hill").glob("*.jsonl")):
        found, events = checking.checked(path), read(path).events
        assert checking._sound_lines(path.read_bytes())[0]  # the fast way was taken
        assert not found.problem
        for name in checking.Opened.__struct_fields__:
            told = getattr(found.opened, name)
            assert (json.loads(bytes(told)) if isinstance(told, msgspec.Raw) else told) == events[0].get(name)
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


def test_names_that_are_no_text_are_told_as_far_as_they_are(group, tmp_path):
    # POSIX: a file's name is bytes; b"\xff" is in no UTF-8 (RFC 3629)
    home = os.fsencode(tmp_path / "all") + b"/h\xff"
    try:
        os.makedirs(home)
    except OSError:
        pytest.skip("this file system wants names in UTF-8")
    sound = next(group.rglob("*.jsonl")).read_bytes()
    for name, data in ((b"a\xff.jsonl", sound), (b"b.jsonl", sound), (b"c\xff.jsonl", b"none")):
        with open(home + b"/" + name, "wb") as file:  # noqa: PTH123 (bytes)
            file.write(data)
    found = review_many(tmp_path / "all", tmp_path / "out", processes=1)
    assert found.gathered.journals == 2
    assert [file for file, _ in found.gathered.apart] == [f"h\ufffd{os.sep}c\ufffd.jsonl"]
    assert [problem for _, problem in found.gathered.twice] == [f"the same journal as h\ufffd{os.sep}a\ufffd.jsonl"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_set_apart_and_not_waited_for(group, tmp_path):
    (tmp_path / "home").mkdir()
    os.mkfifo(tmp_path / "home" / "a.jsonl")
    (tmp_path / "home" / "b.jsonl").write_bytes(next(group.rglob("*.jsonl")).read_bytes())
    found = gather(tmp_path, tmp_path / "parts", processes=1)
    assert [(file, found.journals) for file, _ in found.apart] == [(f"home{os.sep}a.jsonl", 1)]
    assert "pipe or device" in found.apart[0].problem


def test_a_file_that_cannot_be_read_is_one_line(tmp_path):
    with pytest.raises(CannotDo):
        checking.checked(tmp_path / "gone.jsonl")


# ---- forged journals: chained as they should be, but of lines that no writer would write ----------

JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=4,
)  # fmt: skip
FIELDS = st.dictionaries(st.sampled_from(["text", "value", "answer", "note", "role", "gap_ms", "target", "é"]), JSON, max_size=4)
TIMES = st.sampled_from(
    ["2026-02-20T00:00:00.000Z", "2026-02-20T00:00:59.999Z", "2026-02-20T00:01:00.000+01:00", "2026-02-28T23:59:59.500-11:30"] * 3
    + ["2026-02-30T00:00:00.000Z", "2026-02-20T24:00:00.000Z", "2026-02-20T00:00:60.000Z", "2026-02-20T00:00:00.00Z", "2026-02-20 00:00:00.000Z",
       "2026-02-20T00:00:0\u0660.000Z", "0000-02-20T00:00:00.000Z", "2026-02-20T00:00:00.000", "", "2026-02-20T00:00:00.000+24:00"]
)  # fmt: skip
ODD = st.sampled_from(
    [None] * 12
    + [
        (b'"v":1}', b'"v":true}'),
        (b'"v":1}', b'"v":1.0}'),
        (b'"v":1}', b'"v":2}'),
        (b'"v":1}', b'"v":1,"v":1}'),
        (b'"v":1}', b'"v":1,"seq":1}'),
        (b'"v":1}', b'"v":1,"x":"\xff"}'),
        (b'"v":1}', b'"v":1,"\xed\xa0\x80":1}'),
        (b'"v":1}', b'"v":1,"x":"\x01"}'),
        (b'"v":1}', b'"v":1,"x":"\\ud800"}'),
        (b'"v":1}', b'"v":1,"x":"\\q"}'),
        (b'"v":1}', b'"v":1,"x":NaN}'),
        (b'"v":1}', b'"v":1,"x":-Infinity}'),
        (b'"v":1}', b'"v":1,"x":1e999}'),
        (b'"v":1}', b'"v":1,"x":01}'),
        (b'"v":1}', b'"v":1,"x":[1,]}'),
        (b'"v":1}', b'"v":1}{"v":1}'),
        (b'"v":1}', b'"v":1} '),
        (b'"v":1}', b'"v":1}\r'),
        (b'{', b' {'),
        (b'{', b'[{'),
        (b'{', b'{"x":{}}\n{'),
        (b'"mono_ms":', b'"mono_ms":1.0,"x":'),
        (b'"mono_ms":', b'"mono_ms":9007199254740992,"x":'),
        (b'"mono_ms":', b'"m\\u006fno_ms":'),
        (b'"mono_ms":', b'"mono_ms":1e2,"x":'),
        (b'"kind":', b'"kind":7,"x":'),
        (b'"seq":', b'"seq":9,"x":'),
        (b',"seq"', b',\n"seq"'),
    ]
)  # fmt: skip


@st.composite
def forged(draw):
    """Lines whose `prev` is the hash of what stands before, whatever that is; the last one is mostly whole."""
    data, prev = b"", ""
    count = draw(st.integers(1, 5))
    for seq in range(1, count + 1):
        event = draw(FIELDS) | {"v": 1, "seq": seq, "at": draw(TIMES), "mono_ms": draw(st.integers(-5, 10**6)), "kind": "note", "prev": prev}
        if draw(st.integers(0, 30)) == 0:
            event.pop(draw(st.sampled_from(["v", "seq", "at", "mono_ms", "kind", "prev"])))
        event["check"] = hashlib.sha256(rfc8785.dumps(event)).hexdigest()[:16]
        line, odd = rfc8785.dumps(event), draw(ODD)
        if odd:
            line = line.replace(*odd, 1)
        prev = hashlib.sha256(line).hexdigest()
        data += line + b"\n"
    return data


@pytest.fixture(scope="module")
def one_file(tmp_path_factory):
    return tmp_path_factory.mktemp("forged") / "j.jsonl"


def assert_the_same_verdict(data, path):
    path.write_bytes(data)
    mine, theirs = checking.checked(path), read(path)
    assert mine.problem == theirs.problem
    if theirs.intact:
        assert [(e.seq, e.at, e.mono_ms, e.kind, e.check) for e in mine.lines] == [
            (e["seq"], e["at"], e["mono_ms"], e["kind"], e["check"]) for e in theirs.events
        ]
        for line, event in zip(mine.lines, theirs.events, strict=True):
            for name, sort in (("text", str), ("answer", str), ("role", str), ("value", str | int | float | bool), ("gap_ms", int | float)):
                found = event.get(name)
                good = isinstance(found, sort) and (name != "gap_ms" or not isinstance(found, bool))
                assert getattr(line, name) == (found if good else None)
    return theirs.intact


@pytest.mark.parametrize("value", [2**53 - 1, 2**53, -(2**53), 72003515187143580, 10**30])
def test_a_whole_number_from_which_on_it_is_a_float_is_one_here_too(one_file, value):
    """RFC 8785, 3.2.2.3: numbers are IEEE 754 doubles, and a large one stands without exponent."""
    event = {"v": 1, "seq": 1, "at": "2026-02-20T00:00:00.000Z", "mono_ms": 0, "kind": "note", "prev": "", "value": float(value)}
    event["check"] = hashlib.sha256(rfc8785.dumps(event)).hexdigest()[:16]
    assert assert_the_same_verdict(rfc8785.dumps(event) + b"\n", one_file)


@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(forged())
def test_the_same_verdict_on_forged_journals(one_file, data):
    assert_the_same_verdict(data, one_file)


@settings(max_examples=300, deadline=None)
@given(st.integers(1, 40), st.randoms(use_true_random=False), st.lists(st.tuples(st.floats(0, 1), st.binary(max_size=3)), max_size=3))
def test_the_same_verdict_on_bytes_written_over(losses, one_file, events, rng, over):
    data = bytearray(losses.sample(events, rng.randrange(100)))
    for place, new in over:
        at = int(place * len(data))
        data[at : at + len(new)] = new
    assert_the_same_verdict(bytes(data), one_file)


@pytest.mark.parametrize("odd", [b'"x":"\xff"', b'"x":NaN', b'"x":"\x01"'])
def test_what_msgspec_or_python_alone_would_take_is_judged_as_by_the_journal_room(one_file, odd):
    """A middle line's unasked field: only Python takes NaN, and only msgspec skips what is no UTF-8."""
    lines, prev = [], ""
    for seq in (1, 2, 3):
        event = {"v": 1, "seq": seq, "at": "2026-02-20T00:00:00.000Z", "mono_ms": seq, "kind": "note", "prev": prev}
        event["check"] = hashlib.sha256(rfc8785.dumps(event)).hexdigest()[:16]
        line = rfc8785.dumps(event)
        line = line.replace(b'"v":1}', b'"v":1,' + odd + b"}") if seq == 2 else line
        prev = hashlib.sha256(line).hexdigest()
        lines.append(line + b"\n")
    assert assert_the_same_verdict(b"".join(lines), one_file) == (odd == b'"x":NaN')


@pytest.mark.parametrize("odd", [b"1e999", b'"\\ud800"', b"NaN", b"[]", b"{}", b'{"words":{"name":1e999}}', b'"a b"', b"false"])
@pytest.mark.parametrize("name", [b"variant", b"plan_text", b"flow_text", b"flow", b"seed"])
def test_whatever_a_first_line_holds_it_becomes_a_row(one_file, name, odd):
    """Chained, so that the journal room takes it; no writer wrote it."""
    event = {"v": 1, "seq": 1, "at": "2026-02-20T00:00:00.000Z", "mono_ms": 0, "kind": "opened", "prev": ""}
    first = rfc8785.dumps(event | {"check": ""}).replace(b'"v":1}', b'"' + name + b'":' + odd + b',"v":1}')
    event |= {"seq": 2, "kind": "say", "text": "Bag on. 3 times.", "prev": hashlib.sha256(first).hexdigest()}
    event["check"] = hashlib.sha256(rfc8785.dumps(event)).hexdigest()[:16]
    one_file.write_bytes(first + b"\n" + rfc8785.dumps(event) + b"\n")
    found = checking.checked(one_file)
    assert found.problem == read(one_file).problem == ""
    told = rows.journal_row(0, "", found, [0, 0])
    assert told.outcome == "open" and all(str(value).encode() for value in told if value != "")
    words = {}
    assert len(rows.event_rows(0, found, [0, 0], words)) == 5 * len(words) == 5
    assert next(iter(words))[-1] in ("…", "Bag on. … times.")
