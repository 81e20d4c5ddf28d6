"""Keys from a pipe: characters, lines, and an end that ends nothing else."""

import os
import queue
import sys
from typing import Any

import pytest

from prompter.live.keyboard import Keyboard


def keys_of(text: str, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    reading, writing = os.pipe()
    os.write(writing, text.encode())
    os.close(writing)
    got: queue.Queue[Any] = queue.Queue()
    with os.fdopen(reading) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        keyboard = Keyboard(got.put)
        keyboard.start()
        found = [got.get(timeout=5)]
        while found[-1][0] == "key":
            found.append(got.get(timeout=5))
        keyboard.close()
    return found


def test_characters_are_keys_and_line_ends_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    names = [value for kind, value in keys_of("1\no\n#88\n", monkeypatch) if kind == "key"]
    assert names == ["1", "end of line", "o", "end of line", "#", "8", "8", "end of line"]


def test_an_empty_line_is_the_pedal(monkeypatch: pytest.MonkeyPatch) -> None:
    assert [value for kind, value in keys_of("\n \n", monkeypatch) if kind == "key"] == ["enter", "space", "end of line"]


def test_the_end_of_the_pipe_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    assert keys_of("", monkeypatch) == [("no keys", "the input has ended")]


def test_without_standard_input_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    got: queue.Queue[Any] = queue.Queue()
    monkeypatch.setattr(sys, "stdin", None)
    Keyboard(got.put).start()
    assert got.get(timeout=5)[0] == "no keys"
