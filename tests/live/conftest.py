"""Shares the terminal with the tests of this folder."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def terminal(tmp_path: Path, warm_home: Path, helper: Any) -> Iterator[Any]:
    """`terminal(*words)` starts `prompter respond` in a pseudo-terminal."""
    module = pytest.importorskip("pty") and helper("terminal")
    opened = []

    def start(*words: str, **size: int) -> Any:
        opened.append(module.Terminal(tmp_path, *words, **size))
        return opened[-1]

    yield start
    for one in opened:
        one.close()
