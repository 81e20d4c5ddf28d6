"""Puts accounts into files, as private as the journals they are made from."""

import os
import stat
import tempfile
from pathlib import Path

from prompter.errors import CannotDo
from prompter.journal import read_sound
from prompter.review.incident import build
from prompter.review.page import render


def write_page(journal: Path, page: Path) -> Path:
    """Writes the page of a journal and returns its path.

    Raises CannotDo if not even the journal's first event is sound, OSError if the page cannot be
    written.
    """
    return write_private(page, render(build(read_sound(journal), journal.name)))


RECORDS = (".jsonl", ".head", ".flac")
"""Endings of a journal and of what stands beside it: nothing is written over them."""


def write_private(path: Path, content: str | bytes) -> Path:
    """Writes a file that only its owner can read, until the owner says otherwise; whole or not at all.

    Raises CannotDo rather than writing over a record, OSError if it cannot be written.
    """
    data = content if isinstance(content, bytes) else content.encode("utf-8", errors="replace")
    if path.suffix in RECORDS and path.exists():
        raise CannotDo("a record stands there, and nothing is written over it", str(path), "choose another name.")
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists() and not path.is_file():  # a device
        path.write_bytes(data)
        return path
    place = path.resolve()  # a link stays one
    mode = stat.S_IMODE(place.stat().st_mode) if place.exists() else 0o600
    handle, beside = tempfile.mkstemp(prefix=".writing-", dir=place.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(beside, mode)  # noqa: PTH101 (a name, not a path)
        os.replace(beside, place)  # noqa: PTH105
    except BaseException as error:
        Path(beside).unlink(missing_ok=True)
        if isinstance(error, OSError):
            error.filename = str(path)  # not of what no longer is
        raise
    return path
