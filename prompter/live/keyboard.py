"""Reads single keys: from a terminal in raw mode, or the characters of a pipe.

Threads: one of our own waits for keys and puts them on the runner's inbox by name: one character,
or 'enter', 'space', 'backspace', 'escape', 'ctrl-c'.
"""

import os
import select
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

from prompter import limits

Put = Callable[[tuple[str, Any]], None]
"""Is given ('key', name), and ('no keys', why) when there will be no more."""

_NAMES = {
    "c-c": "ctrl-c",
    "c-m": "enter",
    "c-j": "enter",
    " ": "space",
    "c-h": "backspace",
    "escape": "escape",
}


class Keyboard:
    """Standard input as keys. `close` gives the terminal back as it was."""

    def __init__(self, put: Put) -> None:
        self._put = put
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="keys", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        """Ends the reading; returns when the terminal is as it was, after a second at most."""
        self._closing.set()
        if self._thread.ident is not None:
            self._thread.join(5 * limits.KEYS_WAIT_S)

    def _run(self) -> None:
        try:
            if sys.stdin is None:
                raise EOFError("there is no standard input")
            if sys.stdin.isatty():
                self._terminal()
            else:
                self._pipe(sys.stdin.fileno())
        except Exception as error:  # noqa: BLE001 - a terminal that went away; voice goes on
            if not self._closing.is_set():
                self._put(("no keys", str(error) or type(error).__name__))

    def _terminal(self) -> None:
        from prompt_toolkit.input import create_input

        keyboard = create_input()
        with keyboard.raw_mode():
            while not self._closing.is_set():
                if not _wait(keyboard):
                    presses = keyboard.flush_keys()  # an Escape that nothing follows
                elif keyboard.closed:
                    raise EOFError("the terminal was closed")
                else:
                    presses = keyboard.read_keys()
                for press in presses:
                    name = getattr(press.key, "value", press.key)
                    name = _NAMES.get(name, name)
                    if len(name) == 1 or name in _NAMES.values():
                        self._put(("key", name))

    def _pipe(self, fd: int) -> None:
        line_empty = True
        while not self._closing.is_set():
            if os.name == "posix" and not select.select([fd], [], [], limits.KEYS_WAIT_S)[0]:
                continue
            read = os.read(fd, 1024)
            if not read:
                raise EOFError("the input has ended")
            for sign in read.decode("utf-8", "replace"):
                if sign == "\n":
                    # The end of a line that held keys ends a number, and is no key of its own.
                    self._put(("key", "enter" if line_empty else "end of line"))
                    line_empty = True
                elif sign.isprintable():
                    self._put(("key", "space" if sign == " " else sign))
                    line_empty = False


def _wait(keyboard: Any) -> bool:
    """Waits for a key; whether one may be there."""
    if os.name == "posix":
        return bool(select.select([keyboard.fileno()], [], [], limits.KEYS_WAIT_S)[0])
    time.sleep(limits.TURN_S)  # the console tells at once whether it has keys
    return True
