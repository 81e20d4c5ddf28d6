"""What was acknowledged is on the disk, whatever line is torn, disk full or process killed."""

import os
import signal
import stat
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from prompter.errors import CannotDo
from prompter.journal import Journal, read

NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)


def texts(path: Path) -> list[str]:
    return [event["text"] for event in read(path).events if event["kind"] == "note"]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "emergency" / "night.jsonl"


def test_events_are_numbered_flushed_and_private(path, failing_disk):
    journal = Journal.create(path, {"kind": "opened"}, NOW, disk=failing_disk)
    assert [journal.append({"kind": "note", "text": str(n)}, NOW, n) for n in range(3)] == [2, 3, 4]
    assert failing_disk.syncs == 4  # one flush an event, before it is acknowledged
    assert texts(path) == ["0", "1", "2"]  # readable while it is open
    journal.close()
    assert read(path).intact
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_file_that_is_there_is_not_written_over(path):
    Journal.create(path, {"kind": "opened"}).close()
    before = path.read_bytes()
    with pytest.raises(CannotDo, match="is there already"):
        Journal.create(path, {"kind": "opened"})
    assert path.read_bytes() == before


def test_a_second_writer_is_refused_in_this_and_in_another_process(path):
    journal = Journal.create(path, {"kind": "opened"})
    with pytest.raises(CannotDo, match="another prompter"):
        Journal.reopen(path)
    code = (
        "import sys\nfrom prompter.errors import CannotDo\nfrom prompter.journal import Journal\n"
        "try:\n    Journal.reopen(sys.argv[1])\nexcept CannotDo as error:\n    print(error)\n"
    )
    other = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=30
    )
    assert "another prompter is writing this journal" in other.stdout, other.stderr
    journal.close()
    Journal.reopen(path).close()
    assert len(read(path).events) == 1


def test_it_goes_on_after_a_clean_stop(path):
    Journal.create(path, {"kind": "opened"}).close()
    journal = Journal.reopen(path)
    assert journal.append({"kind": "note", "text": "on"}, NOW, 5) == 2
    journal.close()
    assert read(path).intact


@pytest.mark.parametrize("torn", [b'{"at":"2026', b"\x00" * 700, b'{"half":1}\n', b"\xff\xfe\r\n"])
def test_a_torn_last_line_is_set_aside_and_nothing_acknowledged_is_lost(path, torn):
    journal = Journal.create(path, {"kind": "opened"}, NOW)
    journal.append({"kind": "note", "text": "safe"}, NOW, 1)
    journal.close()
    with path.open("ab") as file:
        file.write(torn)
    assert read(path).torn_tail
    journal = Journal.reopen(path, NOW)
    journal.append({"kind": "note", "text": "after"}, NOW, 2)
    journal.close()
    reading = read(path)
    assert reading.intact
    assert texts(path) == ["safe", "after"]
    assert [event["kind"] for event in reading.events] == ["opened", "note", "fault", "note"]
    assert path.with_name(path.name + ".torn-1").read_bytes() == torn


def test_damage_before_the_last_line_is_evidence_and_not_written_on(path):
    journal = Journal.create(path, {"kind": "opened"}, NOW)
    for n in range(3):
        journal.append({"kind": "note", "text": f"n{n}"}, NOW, n)
    journal.close()
    damaged = path.read_bytes().replace(b"n1", b"n7")
    path.write_bytes(damaged)
    with pytest.raises(CannotDo, match="line 3"):
        Journal.reopen(path)
    assert path.read_bytes() == damaged
    path.write_bytes(b"")
    with pytest.raises(CannotDo, match="no sound event"):
        Journal.reopen(path)


def test_a_full_disk_leaves_the_journal_as_it_was(path, failing_disk):
    journal = Journal.create(path, {"kind": "opened"}, NOW, disk=failing_disk)
    failing_disk.broken.add(path.parent)
    for _ in range(2):
        with pytest.raises(OSError, match="No space"):
            journal.append({"kind": "note", "text": "lost"}, NOW, 1)
    failing_disk.broken.clear()
    assert journal.append({"kind": "note", "text": "kept"}, NOW, 2) == 2
    journal.close()
    assert read(path).intact
    assert texts(path) == ["kept"]


def test_a_folder_that_cannot_be_written_is_one_clear_line(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotDo, match="cannot begin"):
        Journal.create(tmp_path / "file" / "night.jsonl", {"kind": "opened"})


WRITER = """
import sys
from datetime import UTC, datetime
from prompter.journal import Journal
path, start = sys.argv[1], int(sys.argv[2])
journal = Journal.create(path, {"kind": "opened"}) if start == 0 else Journal.reopen(path)
n = start
while True:
    journal.append({"kind": "note", "text": str(n), "filler": "x" * 3000}, datetime.now(UTC), n)
    print(n, flush=True)
    n += 1
"""


@pytest.mark.skipif(os.name != "posix", reason="needs SIGKILL")
def test_a_killed_process_loses_nothing_it_was_told_is_safe(path):
    acknowledged = -1
    for wait_for in (3, 17, 8):  # three kills in a row, each at another place
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(acknowledged + 1)],
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(wait_for):
            acknowledged = int(process.stdout.readline())
        process.send_signal(signal.SIGKILL)
        acknowledged = max([acknowledged, *map(int, process.stdout.read().split())])
        process.wait(10)
        safe = [int(text) for text in texts(path)]
        assert safe[: acknowledged + 1] == list(range(acknowledged + 1))
        acknowledged = safe[-1]  # it may have been written without our having been told
    journal = Journal.reopen(path)
    journal.close()
    assert read(path).intact
