"""Keys from a pipe and from a terminal, and a pedal by its device file."""

import os
import struct
import sys
from pathlib import Path

import pytest

from prompter.errors import CannotDo
from prompter.standby.keys import Keys, Pedal

EVENT = "llHHi"
"""struct input_event of linux/input.h: tv_sec, tv_usec, type, code, value."""

KEY_DOWN = struct.pack(EVENT, 1, 2, 1, 48, 1)
KEY_UP = struct.pack(EVENT, 1, 2, 1, 48, 0)
END_OF_REPORT = struct.pack(EVENT, 1, 2, 0, 0, 0)


def test_a_line_of_a_pipe_is_a_press_and_its_end_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    out, into = os.pipe()
    with os.fdopen(out) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        keys = Keys()
        assert keys.there and not keys.pressed()
        os.write(into, b"\n")
        assert keys.pressed() and not keys.pressed()
        os.close(into)
        assert not keys.pressed() and not keys.there


def test_a_single_key_of_a_terminal_and_the_terminal_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    pty = pytest.importorskip("pty")
    import termios

    master, slave = pty.openpty()
    with os.fdopen(slave) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        before = termios.tcgetattr(slave)
        keys = Keys()
        assert termios.tcgetattr(slave) != before and not keys.pressed()
        os.write(master, b"x")
        assert keys.pressed()
        keys.close()
        assert termios.tcgetattr(slave) == before
    os.close(master)


@pytest.mark.skipif(os.name == "nt", reason="device files are POSIX'")
def test_a_pedal_counts_when_it_goes_down(tmp_path: Path) -> None:
    path = tmp_path / "pedal"
    os.mkfifo(path)
    pedal = Pedal(str(path))
    into = os.open(path, os.O_WRONLY)
    assert not pedal.pressed()
    os.write(into, KEY_UP + END_OF_REPORT)
    assert not pedal.pressed()
    os.write(into, KEY_DOWN[:10])
    assert not pedal.pressed()
    os.write(into, KEY_DOWN[10:] + END_OF_REPORT)
    assert pedal.pressed() and not pedal.pressed()
    os.close(into)
    assert not pedal.pressed()  # pulled out: no trouble


def test_no_such_pedal_is_told_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(CannotDo, match="/dev/input/by-id"):
        Pedal(str(tmp_path / "none"))
