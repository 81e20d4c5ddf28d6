"""Lines come back as they went in, and take little memory."""

import subprocess
import sys

import pytest

from prompter.journal.kept_lines import PACKED_TOGETHER, KeptLines

A_DAY = """
import tracemalloc
from datetime import UTC, datetime
from prompter.journal.kept_lines import KeptLines
from prompter.journal.line import Chain

chain, at = Chain(), datetime(2026, 3, 1, tzinfo=UTC)
tracemalloc.start()
before = tracemalloc.get_traced_memory()[0]
kept, size = KeptLines(), 0
for n in range(20_000):
    line = chain.next_line({"kind": "beat", "cue": n // 20, "index": n % 20, "sound_ms": 3_000 * n}, at, 3_000 * n)
    kept.extend([line])
    size += len(line)
print(len(kept), tracemalloc.get_traced_memory()[0] - before, size)
"""
"""In a process of its own: all that is held is counted, and nothing else runs there."""


@pytest.mark.parametrize("count", [0, 1, PACKED_TOGETHER - 1, PACKED_TOGETHER, PACKED_TOGETHER + 1, 3 * PACKED_TOGETHER + 7])
def test_lines_come_back_in_order(count: int) -> None:
    lines = [f'{{"number":{n},"text":"Saug\\u00e4\\r"}}\n'.encode() for n in range(count)]
    kept = KeptLines(lines[: count // 2])
    kept.extend(lines[count // 2 :])
    assert list(kept) == lines and len(kept) == count and kept.last == (lines[-1] if lines else b"")
    assert list(kept) == lines  # again


def test_a_day_takes_little_memory() -> None:
    found = subprocess.run([sys.executable, "-c", A_DAY], capture_output=True, text=True, timeout=60, check=True)
    count, grown, size = map(int, found.stdout.split())
    assert count == 20_000 and grown < size / 2, (grown, size)
