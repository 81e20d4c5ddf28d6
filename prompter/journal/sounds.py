"""The sound of each utterance beside the journal: named and hashed in its line, so it may be deleted.

The hash is over the samples (16 bits, little endian), not over the file: FLAC keeps them exactly, and
whoever packs them anew changes nothing.
"""

import hashlib
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from prompter.journal.keys import identities
from prompter.journal.sealing import open_file

HASH_FIELD = "sound_sha256"
SEALED_SUFFIX = ".age"


@dataclass(frozen=True, slots=True)
class Sounds:
    """`there`: as they were written. `deleted`: named, and not there: nobody's damage. `changed`: names
    of those that are not what was heard."""

    there: int = 0
    deleted: int = 0
    changed: list[str] = field(default_factory=list)


def samples_16_bit(sound: np.ndarray) -> np.ndarray:
    """float32 mono in -1…1 as the int16 samples that are kept and hashed."""
    return np.clip(np.rint(sound * 32767.0), -32768, 32767).astype("<i2")


def hash_of(samples: np.ndarray) -> str:
    """SHA-256 of int16 samples, in hex."""
    return hashlib.sha256(np.ascontiguousarray(samples, "<i2").tobytes()).hexdigest()


def check_sounds(journal: Path, events: list[dict[str, Any]]) -> Sounds:
    """Looks at every sound that `events` name. Never raises for what it finds."""
    there, deleted, changed = 0, 0, []
    for event in events:
        name, wanted = event.get("sound"), event.get(HASH_FIELD)
        if not isinstance(name, str) or not isinstance(wanted, str):
            continue
        path = journal.parent / name
        if not path.is_file():
            deleted += 1
        elif _hash_of_file(path, journal) == wanted:
            there += 1
        else:
            changed.append(name)
    return Sounds(there, deleted, changed)


def _hash_of_file(path: Path, journal: Path) -> str:
    import soundfile

    try:
        data = path.read_bytes()
        if path.suffix == SEALED_SUFFIX:
            data = open_file(data, lambda: identities(journal)) or b""
        samples, _ = soundfile.read(BytesIO(data), dtype="int16")
    except (OSError, RuntimeError, ValueError):
        return ""
    return hash_of(samples)
