"""Reads a journal file into an account, and writes the page beside it."""

from pathlib import Path

from prompter.journal import read
from prompter.review.incident import build
from prompter.review.page import render


def write_page(journal: Path, page: Path) -> Path:
    """Makes the page of one journal (mode 0600); returns its path."""
    text = render(build(read(journal), journal.name))
    page.touch(mode=0o600)
    page.write_text(text, encoding="utf-8", newline="", errors="replace")
    return page
