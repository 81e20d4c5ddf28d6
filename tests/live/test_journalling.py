"""The live journal: begun late, moved and failing, with every event in order."""

import time
from datetime import datetime
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.journal import read
from prompter.live.journalling import LiveJournal

BEGAN = datetime.fromisoformat("2026-03-14T02:41:00+01:00")
OPENED = {"kind": "opened", "live": True}


def journal(folders: list[Path], opened=lambda: OPENED) -> tuple[LiveJournal, list[str]]:  # type: ignore[no-untyped-def]
    trouble: list[str] = []
    return LiveJournal(folders, BEGAN, opened, trouble.append), trouble


def add(one: LiveJournal, *numbers: int) -> None:
    for number in numbers:
        one.append({"kind": "note", "text": str(number)}, BEGAN, number)


def texts(one: LiveJournal) -> list[Any]:
    assert one.path is not None
    reading = read(one.path)
    assert reading.intact
    return [event.get("text", event["kind"]) for event in reading.events]


def test_events_before_the_file_is_there_are_kept_in_order(tmp_path: Path) -> None:
    def slow() -> dict[str, Any]:
        time.sleep(0.2)
        return OPENED

    one, trouble = journal([tmp_path], slow)
    one.begin()
    add(one, 1, 2)
    time.sleep(0.4)
    add(one, 3)
    assert one.close() == 0
    assert texts(one) == ["opened", "1", "2", "3"] and not trouble


def test_a_folder_that_refuses_is_left_for_the_next(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    one, trouble = journal([tmp_path / "file" / "below", tmp_path / "good"])
    one.begin()
    add(one, 1)
    assert one.close() == 0
    assert texts(one) == ["opened", "1"]
    assert one.path is not None and one.path.parent == tmp_path / "good"
    assert len(trouble) == 2  # the refusal, and where it is written now


def test_with_no_disk_at_all_nothing_raises_and_it_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    one, trouble = journal([tmp_path / "file" / "below"])
    one.begin()
    add(one, *range(10))
    assert one.close() == 10 and trouble and one.path is None


def test_emergencies_in_one_second_have_a_record_each_in_the_order_of_their_names(tmp_path: Path) -> None:
    paths = []
    for _ in range(11):
        one, _ = journal([tmp_path])
        one.begin()
        one.close()
        paths.append(one.path)
    assert len(set(paths)) == 11 and None not in paths
    assert sorted(tmp_path.glob("*.jsonl")) == paths


def test_what_is_only_told_does_not_wait_for_the_disk(tmp_path: Path) -> None:
    one, _ = journal([tmp_path])
    one.begin()
    one._thread.join(5)
    began = time.perf_counter()
    for number in range(50):
        one.append({"kind": "say", "text": str(number)}, BEGAN, number)
    spent_ms = 1000 * (time.perf_counter() - began)
    assert spent_ms < 50 * limits.JOURNAL_WAIT_MS / 2
    assert one.close() == 0
