"""Keeps recordings of wordings, one sound file a take, so that recording can stop and go on another day.

A file is named by its wording and a number: `chest-flat-1.flac`, `wont-pass-2.flac`. Other people's
folders are read as well: capitals, spaces, dots and apostrophes make no difference.
"""

import os
import re
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.shortlist import plain_words

_SOUNDS = (".flac", ".wav", ".ogg")


@dataclass(frozen=True, slots=True)
class Takes:
    """What a folder holds. `of`: wording -> its files in order. `ignored`: sound files of no wording."""

    of: dict[str, list[Path]] = field(default_factory=dict)
    ignored: list[Path] = field(default_factory=list)


def stem_of(wording: str) -> str:
    """The part of a file's name that stands for a wording: 'limp-nothing'."""
    return plain_words(wording).replace("'", "").replace(" ", "-")


def find_takes(folder: Path, wordings: Iterable[str]) -> Takes:
    """The takes of `wordings` in `folder`. Raises CannotDo if it cannot be read."""
    by_stem = {stem_of(wording): wording for wording in wordings}
    takes = Takes()
    try:
        files = sorted(p for p in folder.iterdir() if p.suffix.lower() in _SOUNDS and p.is_file())
    except OSError as error:
        raise CannotDo(
            f"this folder cannot be read: {error.strerror or error}.", str(folder), "Check the path."
        ) from None
    for path in files:
        wording = by_stem.get(stem_of(re.sub(r"[\W_]*\d*$", "", path.stem.replace("_", " "))))
        if wording is None:
            takes.ignored.append(path)
        else:
            takes.of.setdefault(wording, []).append(path)
    return takes


def keep_take(folder: Path, wording: str, sound: np.ndarray) -> Path:
    """Writes `sound` (float32, mono, 16 kHz) as the next take: the whole file or nothing, mode 0600.

    Raises CannotDo."""
    import soundfile

    number = 1
    while (path := folder / f"{stem_of(wording)}-{number}.flac").exists():
        number += 1
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, fresh = tempfile.mkstemp(dir=folder, prefix=".take-")
        try:
            with os.fdopen(handle, "wb") as file:
                soundfile.write(file, sound, limits.SAMPLE_RATE_HZ, format="FLAC")
                file.flush()
                os.fsync(file.fileno())
            os.replace(fresh, path)
        except BaseException:
            Path(fresh).unlink(missing_ok=True)
            raise
    except (OSError, RuntimeError) as error:
        raise CannotDo(
            f"the recording cannot be kept: {getattr(error, 'strerror', None) or error}.",
            str(path),
            "Make room or give write permission, or set PROMPTER_HOME to another folder.",
        ) from None
    return path
