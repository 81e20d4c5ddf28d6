"""Whether a key or a pedal was pressed: looked at beside each block of sound, without a thread."""

import contextlib
import os
import select
import struct
import sys
import threading
from typing import Any

from prompter.errors import CannotDo

_EVENT = struct.Struct("llHHi")
"""Linux' struct input_event (linux/input.h): two longs of time, type, code, value."""

_KEY, _DOWN = 1, 1


class Keys:
    """Standard input, from a terminal (single keys) or a pipe (lines). Ends with the input.

    Ctrl-C stays a signal. `close` gives the terminal back as it was, at once.
    """

    def __init__(self) -> None:
        self._fd: int | None = None
        self._before: Any = None
        with contextlib.suppress(OSError, ValueError, AttributeError):
            self._fd = sys.stdin.fileno()
        if self._fd is not None and os.isatty(self._fd):
            self._single_keys()

    def _single_keys(self) -> None:
        try:
            import termios
            import tty
        except ImportError:  # Windows' console tells by itself
            return
        self._before = termios.tcgetattr(self._fd)
        tty.setcbreak(self._fd)

    @property
    def there(self) -> bool:
        """Whether a key can come."""
        return self._fd is not None

    def pressed(self) -> bool:
        """Whether something was pressed since the last look. Does not wait."""
        if self._fd is None:
            return False
        if os.name == "nt":
            return self._console_pressed()
        try:
            if not select.select([self._fd], [], [], 0)[0]:
                return False
            read = os.read(self._fd, 1024)
        except (OSError, ValueError):
            read = b""
        if not read:
            self._fd = None
        return bool(read)

    @staticmethod
    def _console_pressed() -> bool:
        import msvcrt

        found = False
        while msvcrt.kbhit():  # type: ignore[attr-defined]
            msvcrt.getwch()  # type: ignore[attr-defined]
            found = True
        return found

    def close(self) -> None:
        before, self._before = self._before, None
        if before is not None and self._fd is not None:
            import termios

            with contextlib.suppress(termios.error, OSError):
                termios.tcsetattr(self._fd, termios.TCSANOW, before)


class Pedal:
    """A pedal or keyboard by its device file (/dev/input/by-id/...): a service has no terminal.

    Raises CannotDo if it cannot be opened at the start; later it may come and go.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._fd: int | None = None
        self._rest = b""
        try:
            self._open()
        except OSError as error:
            raise CannotDo(
                f"the pedal cannot be read: {error.strerror or error}.", path,
                "Name its file below /dev/input/by-id, and add yourself to the group 'input'.",
            ) from None  # fmt: skip

    def _open(self) -> None:
        self._fd = os.open(self._path, os.O_RDONLY | os.O_NONBLOCK)

    def pressed(self) -> bool:
        """Whether it was pressed since the last look. Does not wait."""
        try:
            if self._fd is None:
                self._open()
            read = os.read(self._fd, 64 * _EVENT.size)  # type: ignore[arg-type]
        except BlockingIOError:
            return False
        except OSError:  # pulled out: tried again at the next look
            self._shut()
            return False
        if not read:
            self._shut()
            return False
        read, self._rest = self._rest + read, b""
        whole = len(read) // _EVENT.size * _EVENT.size
        self._rest = read[whole:]
        events = _EVENT.iter_unpack(read[:whole])
        return any(kind == _KEY and value == _DOWN for _, _, kind, _, value in events)

    def become_standard_input(self) -> None:
        """From now on each press is an Enter on standard input, as a pedal's is in a terminal."""
        out, into = os.pipe()
        os.dup2(out, 0)
        os.close(out)
        sys.stdin = open(0, encoding="utf-8", closefd=False)
        threading.Thread(target=self._press_on, args=(into,), name="pedal", daemon=True).start()

    def _press_on(self, into: int) -> None:
        while True:
            if self._fd is not None:
                select.select([self._fd], [], [], 1.0)
            else:
                threading.Event().wait(1.0)
            if self.pressed():
                os.write(into, b"\n")

    def _shut(self) -> None:
        fd, self._fd = self._fd, None
        if fd is not None:
            with contextlib.suppress(OSError):
                os.close(fd)
