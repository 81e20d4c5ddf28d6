"""Puts accounts into files, as private as the journals they are made from."""

from pathlib import Path

from prompter.journal import read_sound
from prompter.review.incident import build
from prompter.review.page import render


def write_page(journal: Path, page: Path) -> Path:
    """Writes the page of a journal and returns its path.

    Raises CannotDo if not even the journal's first event is sound, OSError if the page cannot be
    written.
    """
    return write_private(page, render(build(read_sound(journal), journal.name)))


def write_private(path: Path, content: str | bytes) -> Path:
    """Writes a file that only its owner can read, until the owner says otherwise."""
    data = content if isinstance(content, bytes) else content.encode("utf-8", errors="replace")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(mode=0o600)
    path.write_bytes(data)
    return path
