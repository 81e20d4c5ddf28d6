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


def write_private(path: Path, text: str) -> Path:
    """Writes a file that only its owner can read, until the owner says otherwise."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(mode=0o600)
    path.write_text(text, encoding="utf-8", newline="", errors="replace")
    return path
