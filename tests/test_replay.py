"""A journal walked through the same core says the same; a changed one tells where it first differs."""

from dataclasses import replace
from datetime import datetime, timezone
from pathlib import Path

import numpy as np
import pytest

from prompter.errors import CannotDo
from prompter.flow.family import family_text
from prompter.flow.table import Table
from prompter.journal import Journal, read
from prompter.limits import MIX_RATE_HZ
from prompter.opening import opened_record, variant_of, variant_record
from prompter.replay import replay
from prompter.resources import flow_file
from prompter.session import Session, Timing
from prompter.speak.mixer import Mixer

BEGAN = datetime(2026, 3, 1, 12, 0, tzinfo=timezone.utc)


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory, demo_table: Table) -> Path:
    """A keyed emergency with silence, an undo, a number and a lost part."""
    path = tmp_path_factory.mktemp("replay") / "journal.jsonl"
    first = opened_record(
        flow_text=family_text(flow_file("breathing-trouble")), plan_text=None, plan_name=None,
        variant=demo_table.variant, live=False, seed=0, voice=None, ears=[], settings={},
    )  # fmt: skip
    writer = Journal.create(path, first, BEGAN, 0)
    clip = np.full(MIX_RATE_HZ // 2, 0.1, np.float32)
    mixer = Mixer(MIX_RATE_HZ, lambda text: clip)
    session = Session(demo_table, mixer, Timing(BEGAN, lambda p: p * 1000 // MIX_RATE_HZ), writer)
    keys = {3_000: "1", 9_000: "1", 30_000: "2", 33_000: "z", 36_000: "1", 40_000: "s", 60_000: "n"}
    session.start(0)
    now = 0
    while now < 100_000:
        now += 32
        mixer.render(now * MIX_RATE_HZ // 1000 - mixer.position)
        session.turn(now)
        for at, key in list(keys.items()):
            if at <= now:
                session.press(keys.pop(at), now)
        if now == 50_016:
            session.number("spo2", 91, now)
            session.fault("microphone", "unplugged", now)
    session.end(now, "the test is over")
    writer.close()
    return path


def test_the_same_cues_byte_for_byte(journal: Path) -> None:
    result = replay(read(journal).events, "journal.jsonl")
    assert result.first_difference is None
    assert result.same and result.cues > 50


@pytest.mark.parametrize("change", ["text", "missing", "more", "event"])
def test_a_difference_is_found_where_it_begins(journal: Path, change: str) -> None:
    events = read(journal).events
    says = [i for i, event in enumerate(events) if event["kind"] == "say"]
    at = says[len(says) // 2]
    seq = events[at]["seq"]
    if change == "text":
        events[at] = {**events[at], "text": "Something else."}
    elif change == "missing":
        del events[at]
    elif change == "more":
        events.insert(at, events[says[0]])
        seq = events[says[0]]["seq"]
    else:
        keyed = [i for i, event in enumerate(events) if event["kind"] == "answered"]
        at = keyed[1]
        events[at] = {**events[at], "answer": "came out"}
    result = replay(events, "journal.jsonl")
    assert not result.same and result.first_difference is not None
    if change in ("text", "more"):
        assert result.first_difference["seq"] == seq


def test_a_journal_without_its_flow_is_refused(journal: Path) -> None:
    events = read(journal).events
    with pytest.raises(CannotDo, match="does not embed its flow"):
        replay(events[1:], "journal.jsonl")


@pytest.mark.parametrize("name", ["flow_text", "variant"])
@pytest.mark.parametrize("odd", [None, 7, [1], {"a": {}}])
def test_a_flow_or_plan_of_another_sort_is_one_line(journal: Path, name: str, odd: object) -> None:
    events = read(journal).events
    with pytest.raises(CannotDo, match="not as the prompter writes it"):
        replay([{**events[0], name: odd}, *events[1:]], "x")


@pytest.mark.parametrize("odd", [None, [{}], {"x": 1}, "words", -1e300, ...])
@pytest.mark.parametrize("kind", ["answered", "numbered", "prompt ended"])
def test_an_event_of_another_sort_is_where_it_differs(journal: Path, kind: str, odd: object) -> None:
    events = [dict(event) for event in read(journal).events]
    met = next((event for event in events if event["kind"] == kind), None)
    if met is None:  # none of the keyed story: one that nothing was to follow
        met = {**events[1], "kind": kind, "seq": len(events) + 1}
        events.append(met)
    for name in met.keys() - {"v", "seq", "at", "mono_ms", "prev", "check", "kind"}:
        if odd is ...:
            del met[name]
        else:
            met[name] = odd
    again = replay(events, "x")
    assert again.same or again.first_difference["seq"] >= met["seq"]


def test_the_variant_comes_back_whole(demo_table: Table) -> None:
    record = variant_record(demo_table.variant)
    assert variant_record(variant_of(record)) == record


def test_a_variant_whose_facts_are_open_comes_back_open(demo_table: Table) -> None:
    left_open = replace(demo_table.variant, facts=None)
    assert variant_of(variant_record(left_open)).facts is None
    assert left_open == variant_of(variant_record(left_open))


def test_another_protocol_says_where_the_cues_first_differ(journal: Path) -> None:
    text = family_text(flow_file("breathing-trouble"))
    events = read(journal).events
    assert replay(events, "journal.jsonl", text).same
    says = [e for e in events if e["kind"] == "say" and e["role"] == "care"]
    other = text.replace(says[0]["text"], "Something else now.")
    assert other != text
    result = replay(events, "journal.jsonl", other)
    assert result.first_difference is not None
    assert result.first_difference["written"]["text"] == says[0]["text"]
    assert result.first_difference["now"]["text"] == "Something else now."


def test_cues_that_a_stop_kept_from_the_disk_are_no_difference_while_it_is_open(journal: Path) -> None:
    events = read(journal).events
    last_say = max(i for i, event in enumerate(events) if event["kind"] == "say")
    cut = events[:last_say]
    assert replay(cut, "journal.jsonl").same
    assert not replay([*cut, {**events[-1], "kind": "closed", "why": "it says so"}], "journal.jsonl").same
