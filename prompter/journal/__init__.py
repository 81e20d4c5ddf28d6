"""The journal: every event of an emergency, append only, chained, and safe on the disk."""

from prompter.journal.reading import Reading, read, read_bytes, read_sound, verify
from prompter.journal.repair import Repaired, repair
from prompter.journal.sounds import Sounds, check_sounds
from prompter.journal.store import HeldByAnother, Journal
from prompter.journal.writer import BackgroundWriter

__all__ = [
    "BackgroundWriter", "HeldByAnother", "Journal", "Reading", "Repaired", "Sounds", "check_sounds", "read",
    "read_bytes", "read_sound", "repair", "verify",
]  # fmt: skip
