"""The journal: every event of an emergency, append only, chained, and safe on the disk."""

from prompter.journal.reading import Reading, read, read_bytes, read_sound, verify
from prompter.journal.store import Journal
from prompter.journal.writer import BackgroundWriter

__all__ = ["BackgroundWriter", "Journal", "Reading", "read", "read_bytes", "read_sound", "verify"]
