"""Any bytes can be read; any damage is found or does no harm; whatever was written comes back."""

from dataclasses import MISSING, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from prompter import events as events_module
from prompter import limits
from prompter.errors import CannotDo
from prompter.events import from_record
from prompter.journal import Journal, read, read_bytes
from prompter.journal.line import FRAME, Chain

NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)

numbers = st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
values = st.recursive(
    st.none() | st.booleans() | numbers | st.text(st.characters(codec="utf-8")),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(st.characters(codec="utf-8")), inner, max_size=3)
    ),
    max_leaves=6,
)
names = st.text(st.characters(codec="utf-8")).filter(lambda name: name not in FRAME | {"kind"})
records = st.dictionaries(names, values, max_size=4).flatmap(
    lambda rest: st.text(st.characters(codec="utf-8")).map(lambda kind: {"kind": kind, **rest})
)


def write(records: list[dict]) -> bytes:
    chain = Chain()
    return b"".join(
        chain.next_line(record, NOW, index * 10) for index, record in enumerate(records)
    )


def own(events: list[dict]) -> list[dict]:
    return [{k: v for k, v in event.items() if k not in FRAME} for event in events]


SOUND = write(
    [
        {"kind": "opened", "plan_text": "name: Juno\n"},
        *({"kind": "note", "text": f"n{i}é"} for i in range(6)),
        {"kind": "closed"},
    ]
)
LINES = SOUND.split(b"\n")[:-1]


@given(st.lists(records, min_size=1, max_size=5))
def test_any_events_come_back_as_they_were(given_records):
    reading = read_bytes(write(given_records))
    assert own(reading.events) == given_records
    assert reading.intact
    assert reading.first_bad is None
    assert [event["seq"] for event in reading.events] == list(range(1, len(given_records) + 1))


def event_classes() -> list[type]:
    """Every event and cue that `prompter/events.py` defines, found there and not in a list of ours."""
    return [
        cls
        for cls in vars(events_module).values()
        if isinstance(cls, type) and issubclass(cls, events_module.Record) and cls.kind
    ]


def samples(cls: type) -> list[events_module.Record]:
    """Two of each: every field with a value of its own, and every optional one left out."""
    hints = get_type_hints(cls)
    values = {}
    for n, field in enumerate(fields(cls), 1):
        kinds = [k for k in (get_args(hints[field.name]) or [hints[field.name]]) if k is not type(None)]
        options = {int: n, float: n + 0.25, bool: True, str: f"{field.name} “é” \u2028 {n}"}
        values[field.name] = kinds[0] if isinstance(kinds[0], str) else options[kinds[0]]
    few = {f.name: values[f.name] for f in fields(cls) if f.default is MISSING}
    return [cls(**values), cls(**few)]


def test_every_event_class_comes_back_from_a_journal_on_the_disk(tmp_path):
    classes = event_classes()
    assert {cls.kind for cls in classes} == set(events_module.KINDS)
    made = [sample for cls in classes for sample in samples(cls)]
    journal = Journal.create(tmp_path / "all.jsonl", {"kind": "opened"}, NOW)
    for sample in made:
        journal.append(sample.to_record(), NOW, sample.at_ms)
    journal.close()
    reading = read(tmp_path / "all.jsonl")
    assert reading.intact
    assert [from_record(event) for event in reading.events[1:]] == made


@given(st.binary(max_size=200))
def test_any_bytes_are_read_without_a_traceback(data):
    reading = read_bytes(data)
    assert not reading.intact
    assert reading.first_bad == 1
    assert reading.problem


@pytest.mark.parametrize(
    "line",
    [
        b"[" * 100_000,
        b"1" * 10_000,
        b'{"v":1}',
        b"null",
        b'{"v":2}',
        b'"\\ud800"',
        b"NaN",
        b'{"a":1' + b"}" * 9,
        b"\x00" * 50,
    ],
)
def test_strange_first_lines_are_read_without_a_traceback(line):
    reading = read_bytes(line + b"\n")
    assert reading.events == []
    assert reading.first_bad == 1


def harmless(damaged: bytes) -> bool:
    """Detected, or a whole journal whose events are a beginning of the true ones and not closed."""
    reading, true = read_bytes(damaged), read_bytes(SOUND).events
    if not reading.intact:
        return reading.events == true[: len(reading.events)]
    return reading.events == true or (
        reading.events == true[: len(reading.events)] and not reading.closed
    )


@settings(max_examples=400)
@given(st.integers(0, len(SOUND) * 8 - 1))
def test_a_flipped_bit_is_found_where_it_is(bit):
    damaged = bytearray(SOUND)
    damaged[bit // 8] ^= 1 << bit % 8
    reading = read_bytes(bytes(damaged))
    assert not reading.intact
    assert harmless(bytes(damaged))
    assert reading.first_bad == SOUND[: bit // 8].count(b"\n") + 1


@given(st.integers(0, len(SOUND) - 1))
def test_a_cut_is_found_or_leaves_a_journal_that_says_it_is_not_closed(size):
    assert harmless(SOUND[:size])
    assert not read_bytes(SOUND[:size]).closed


@given(st.data())
def test_swapped_doubled_moved_and_lost_lines_are_found(data):
    lines = list(LINES)
    a = data.draw(st.integers(0, len(lines) - 1))
    b = data.draw(st.integers(0, len(lines) - 1).filter(lambda n: n != a))
    what = data.draw(st.sampled_from(["swap", "double", "move", "lose", "overwrite"]))
    if what == "swap":
        lines[a], lines[b] = lines[b], lines[a]
    elif what == "double":
        lines.insert(a, lines[a])
    elif what == "move":
        lines.insert(b, lines.pop(a))
    elif what == "overwrite":
        lines[a] = lines[b]
    elif a < len(lines) - 1:
        del lines[a]
    else:
        return  # the last line lost: the cut above
    damaged = b"\n".join(lines) + b"\n"
    assert not read_bytes(damaged).intact
    assert harmless(damaged)


@given(st.integers(0, len(SOUND)), st.integers(0, len(SOUND)), st.binary(min_size=1, max_size=30))
def test_anything_written_over_it_is_found_or_harmless(start, length, junk):
    damaged = SOUND[:start] + junk + SOUND[start + length :]
    assert damaged == SOUND or harmless(damaged)


def test_a_torn_tail_is_told_from_other_damage():
    torn = read_bytes(SOUND[:-5])
    assert (torn.torn_tail, torn.intact, torn.first_bad, torn.closed) == (True, False, 8, False)
    assert len(torn.events) == 7
    middle = read_bytes(SOUND.replace(b"n2", b"n9"))
    assert (middle.torn_tail, middle.first_bad) == (False, 4)
    assert "line 4" in middle.problem
    assert middle.sound_bytes == len(b"\n".join(LINES[:3])) + 1


def test_a_journal_of_a_newer_format_says_so():
    assert "format version is 2" in read_bytes(SOUND.replace(b'"v":1', b'"v":2')).problem


def test_a_missing_or_endless_file_is_one_clear_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    with pytest.raises(CannotDo, match="cannot be read"):
        read(tmp_path / "none.jsonl")
    with pytest.raises(CannotDo, match="cannot be read"):
        read(tmp_path)
    monkeypatch.setattr(limits, "JOURNAL_BYTES_MAX", 10)
    (tmp_path / "big.jsonl").write_bytes(SOUND)
    with pytest.raises(CannotDo, match="too large"):
        read(tmp_path / "big.jsonl")


@pytest.mark.parametrize("after", [b"\x00", b"{}", LINES[5], b""])
def test_a_changed_line_is_found_whatever_follows_it(after):
    """Nobody vouches for a line whose successor is bad for a reason of its own."""
    changed = LINES[2].replace(b"n1", b"n8")
    reading = read_bytes(b"\n".join([*LINES[:2], changed, after, *LINES[4:]]) + b"\n")
    assert (reading.first_bad, len(reading.events)) == (3, 2)
