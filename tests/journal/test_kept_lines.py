"""Lines come back as they went in, and take little memory."""

import tracemalloc
from datetime import UTC, datetime

import pytest

from prompter.journal import kept_lines
from prompter.journal import line as line_module
from prompter.journal.kept_lines import PACKED_TOGETHER, KeptLines
from prompter.journal.line import Chain


@pytest.mark.parametrize("count", [0, 1, PACKED_TOGETHER - 1, PACKED_TOGETHER, PACKED_TOGETHER + 1, 3 * PACKED_TOGETHER + 7])
def test_lines_come_back_in_order(count: int) -> None:
    lines = [f'{{"number":{n},"text":"Saug\\u00e4\\r"}}\n'.encode() for n in range(count)]
    kept = KeptLines(lines[: count // 2])
    kept.extend(lines[count // 2 :])
    assert list(kept) == lines and len(kept) == count and kept.last == (lines[-1] if lines else b"")
    assert list(kept) == lines  # again


def test_a_day_takes_little_memory() -> None:
    chain, at = Chain(), datetime(2026, 3, 1, tzinfo=UTC)
    tracemalloc.start()
    kept, size = KeptLines(), 0
    for n in range(20_000):
        line = chain.next_line({"kind": "beat", "cue": n // 20, "index": n % 20, "sound_ms": 3_000 * n}, at, 3_000 * n)
        kept.extend([line])
        size += len(line)
    snapshot = tracemalloc.take_snapshot()
    tracemalloc.stop()
    # Where lines are made and kept: what another test's thread still does beside this is not of the journal.
    ours = snapshot.filter_traces([tracemalloc.Filter(True, module.__file__) for module in (kept_lines, line_module)])
    grown = sum(trace.size for trace in ours.traces)
    assert len(kept) == 20_000 and size / 50 < grown < size / 2
