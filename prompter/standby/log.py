"""What standby tells afterwards: a small file that never grows beyond its bound.

Times, levels, counts, parts that failed. Never a word of what was said in the room: nothing else
in this room writes anywhere.
"""

import logging
import os
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path

from prompter.standby import bounds


class Log:
    """Writes lines into `path` (mode 0600, moved aside to `path`.1 when full), each on the screen as
    well where `show`. A disk that is full loses lines, and nothing else; `lost` counts them."""

    def __init__(self, path: Path | None, show: bool = True) -> None:
        self.lost = 0
        self._show = show
        self._handler = _Private(self, path) if path is not None else None

    def line(self, text: str) -> None:
        """One line, with the time of day. Never raises."""
        text = " ".join(text.split())
        if self._handler is not None:
            self._handler.emit(logging.makeLogRecord({"msg": text, "levelno": logging.INFO}))
        if self._show and sys.stdout is not None:
            try:
                print(text, flush=True)
            except (OSError, ValueError):  # a terminal that was closed
                self._show = False

    def close(self) -> None:
        if self._handler is not None:
            self._handler.close()


class _Private(RotatingFileHandler):
    """Readable by this user alone, from the first moment of each file."""

    def __init__(self, log: Log, path: Path) -> None:
        self._log = log
        super().__init__(
            path, maxBytes=bounds.LOG_BYTES, backupCount=1, encoding="utf-8", delay=True
        )
        self.setFormatter(logging.Formatter("%(asctime)s %(message)s"))

    def _open(self):  # type: ignore[no-untyped-def]
        def private(name: str, flags: int) -> int:
            return os.open(name, flags, 0o600)

        file = open(self.baseFilename, self.mode, encoding=self.encoding, opener=private)
        if hasattr(os, "fchmod"):  # one that was there already, however it came about
            os.fchmod(file.fileno(), 0o600)
        return file

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the library's name
        self._log.lost += 1
