"""The background writer: order kept, never raising, a failing disk reported and outlived."""

import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from prompter.journal import BackgroundWriter, Journal, read
from prompter.journal.disk import FileDisk

NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)


def texts(path: Path) -> list[str]:
    return [event["text"] for event in read(path).events if event["kind"] == "note"]


def note(n: int) -> dict:
    return {"kind": "note", "text": str(n)}


class Told:
    """Collects what the writer reports and lets a test wait for it."""

    def __init__(self) -> None:
        self.late: list[int] = []
        self.trouble: list[str] = []
        self.news = threading.Condition()

    def on_late(self, seq: int, waited_ms: int) -> None:
        with self.news:
            self.late.append(seq)
            self.news.notify_all()

    def on_trouble(self, text: str) -> None:
        with self.news:
            self.trouble.append(text)
            self.news.notify_all()

    def wait_for(self, what) -> bool:
        with self.news:
            return self.news.wait_for(what, 10)


class SlowDisk(FileDisk):
    """Acknowledges only when the test lets it."""

    gate = threading.Event()

    def sync(self) -> None:
        self.gate.wait(10)
        super().sync()


def test_events_are_on_the_disk_when_it_says_so(tmp_path):
    path = tmp_path / "a.jsonl"
    writer = BackgroundWriter(Journal.create(path, {"kind": "opened"}))
    assert writer.append(note(1), NOW, 1, wait_ms=10_000)
    assert texts(path) == ["1"]
    assert writer.trouble() == ""
    assert writer.close() == 0


def test_many_threads_keep_one_order_and_one_chain(tmp_path):
    path = tmp_path / "a.jsonl"
    writer = BackgroundWriter(Journal.create(path, {"kind": "opened"}))
    threads = [
        threading.Thread(
            target=lambda t=t: [writer.append(note(100 * t + n), NOW, n, 0) for n in range(20)]
        )
        for t in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert writer.close() == 0
    assert read(path).intact
    found = [int(text) for text in texts(path)]
    assert [[n for n in found if n // 100 == t] for t in range(4)] == [
        list(range(100 * t, 100 * t + 20)) for t in range(4)
    ]


def test_a_slow_disk_lets_the_caller_go_and_tells_when_it_is_done(tmp_path):
    path = tmp_path / "a.jsonl"
    SlowDisk.gate.set()
    told = Told()
    writer = BackgroundWriter(
        Journal.create(path, {"kind": "opened"}, disk=SlowDisk), on_late=told.on_late
    )
    SlowDisk.gate.clear()
    assert not writer.append(note(1), NOW, 1)
    SlowDisk.gate.set()
    assert told.wait_for(lambda: told.late == [2])
    assert writer.close() == 0
    assert texts(path) == ["1"]


def test_what_nobody_waited_for_is_not_late(tmp_path):
    SlowDisk.gate.set()
    told = Told()
    journal = Journal.create(tmp_path / "a.jsonl", {"kind": "opened"}, disk=SlowDisk)
    writer = BackgroundWriter(journal, on_late=told.on_late)
    SlowDisk.gate.clear()
    assert not writer.append(note(1), NOW, 1, wait_ms=0)
    assert not writer.append(note(2), NOW, 2, wait_ms=1)
    SlowDisk.gate.set()
    assert writer.close() == 0
    assert told.late == [3]


def test_a_full_disk_is_told_and_nothing_is_lost_when_it_has_room_again(tmp_path, failing_disk):
    path = tmp_path / "a.jsonl"
    told = Told()
    writer = BackgroundWriter(
        Journal.create(path, {"kind": "opened"}, disk=failing_disk),
        on_trouble=told.on_trouble,
        retry_s=0.01,
    )
    failing_disk.broken.add(tmp_path)
    assert not any(writer.append(note(n), NOW, n) for n in range(5))
    assert told.wait_for(lambda: told.trouble)
    assert "No space left" in writer.trouble()
    assert "5 events are kept in memory" in writer.trouble()
    failing_disk.broken.clear()
    assert told.wait_for(lambda: told.trouble[-1] == "")
    assert writer.close() == 0
    assert writer.trouble() == ""
    assert texts(path) == ["0", "1", "2", "3", "4"]
    assert read(path).intact


def test_a_dead_disk_is_left_for_the_second_folder_with_the_whole_journal(tmp_path, failing_disk):
    path, second = tmp_path / "one" / "a.jsonl", tmp_path / "two"
    journal = Journal.create(path, {"kind": "opened"}, disk=failing_disk)
    told = Told()
    writer = BackgroundWriter(
        journal, second, on_trouble=told.on_trouble, disk=failing_disk, retry_s=0.01
    )
    assert writer.append(note(0), NOW, 0, 10_000)
    failing_disk.broken.add(path.parent)
    for n in range(1, 5):
        writer.append(note(n), NOW, n)
    assert told.wait_for(lambda: told.trouble and told.trouble[-1] == "")
    assert writer.close() == 0
    assert writer.path == second / "a.jsonl"
    assert texts(writer.path) == ["0", "1", "2", "3", "4"]
    assert read(writer.path).intact


def test_memory_is_bounded_and_the_loss_is_written_down(tmp_path, failing_disk):
    path = tmp_path / "a.jsonl"
    told = Told()
    journal = Journal.create(path, {"kind": "opened"}, disk=failing_disk)
    failing_disk.broken.add(tmp_path)
    writer = BackgroundWriter(journal, on_trouble=told.on_trouble, retry_s=0.01, held_max=3)
    for n in range(5):
        writer.append(note(n), NOW, n)
    assert "2 events could not be kept" in writer.trouble()
    failing_disk.broken.clear()
    assert told.wait_for(lambda: told.trouble[-1] == "")
    writer.append(note(9), NOW, 9, 10_000)
    assert writer.close() == 0
    assert texts(path) == ["0", "1", "2", "9"]
    assert [e["detail"] for e in read(path).events if e["kind"] == "fault"] == [
        "2 events could not be kept while the disk failed"
    ]


def test_closing_on_a_dead_disk_ends_and_counts_what_is_lost(tmp_path, failing_disk):
    journal = Journal.create(tmp_path / "a.jsonl", {"kind": "opened"}, disk=failing_disk)
    failing_disk.broken.add(tmp_path)
    writer = BackgroundWriter(journal, retry_s=0.01)
    for n in range(3):
        writer.append(note(n), NOW, n)
    assert writer.close(wait_s=0.1) == 3
    assert not writer.append(note(4), NOW, 4)
    assert len(read(tmp_path / "a.jsonl").events) == 1


@pytest.mark.parametrize(
    "record",
    [
        {"kind": "x", "y": float("inf")},
        {"kind": "x", "seq": 4},
        {"y": 1},
        {"kind": "x", "y": object},
    ],
)
def test_a_bug_in_an_event_is_written_as_a_fault(tmp_path, record):
    path = tmp_path / "a.jsonl"
    writer = BackgroundWriter(Journal.create(path, {"kind": "opened"}))
    writer.append(record, NOW, 1, 10_000)
    assert writer.close() == 0
    fault = read(path).events[-1]
    assert fault["kind"] == "fault"
    assert fault["event"] == ascii(record)


def test_a_bug_in_a_listener_does_not_end_the_journal(tmp_path, failing_disk):
    path = tmp_path / "a.jsonl"

    def broken(text: str) -> None:
        raise RuntimeError(text)

    writer = BackgroundWriter(
        Journal.create(path, {"kind": "opened"}, disk=failing_disk), on_trouble=broken, retry_s=0.01
    )
    failing_disk.broken.add(tmp_path)
    writer.append(note(1), NOW, 1)
    failing_disk.broken.clear()
    assert writer.append(note(2), NOW, 2, 10_000) in (True, False)
    assert writer.close() == 0
    assert texts(path) == ["1", "2"]
