"""What lies in a folder of recordings: `spoken-words/<label>/` and `room-noise/<kind>/`."""

import difflib
import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from prompter.errors import CannotDo

SPOKEN, NOISE = "spoken-words", "room-noise"
UNKNOWN, SILENCE = "unknown", "silence"
"""Labels that say what is in a clip instead of what was said."""

ANSWERS = ("yes", "no", "stop")
"""The labels that are phrases where none are given, if any of them is there."""

Half = Literal["fit", "report"]
_SUFFIXES = (".flac", ".wav", ".ogg")
_SHAPE = f"Give a folder that holds {SPOKEN}/<label>/ or {NOISE}/<kind>/ with FLAC, WAV or OGG files."


@dataclass(frozen=True, slots=True)
class Recordings:
    """Files by label and by kind, both sorted."""

    folder: Path
    spoken: dict[str, list[Path]] = field(default_factory=dict)
    noise: dict[str, list[Path]] = field(default_factory=dict)

    def default_phrases(self) -> list[str]:
        """yes, no and stop as far as they are labels here; if none is, every label that is a word;
        where there is no word at all, yes, no and stop."""
        found = [label for label in ANSWERS if label in self.spoken]
        words = [label for label in self.spoken if label not in (UNKNOWN, SILENCE)]
        return found or words or list(ANSWERS)

    def only(self, speakers: str, limit: int | None) -> "Recordings":
        """A part: `speakers` 'report' is the half that tuned nothing; at most `limit` a label."""
        spoken = {
            label: [p for p in paths if speakers == "all" or half_of(speaker_of(label, p.name)) == speakers]
            for label, paths in self.spoken.items()
        }
        return Recordings(
            self.folder,
            {label: evenly(paths, limit) for label, paths in spoken.items()},
            {kind: evenly(paths, limit) for kind, paths in self.noise.items()},
        )


def find_recordings(folder: Path) -> Recordings:
    """Raises CannotDo if there is none at all."""
    if not folder.is_dir():
        raise CannotDo("there is no such folder.", str(folder), _SHAPE)
    try:
        found = Recordings(folder, _by_name(folder / SPOKEN), _by_name(folder / NOISE))
    except OSError as error:
        raise CannotDo(f"cannot be read: {error.strerror or error}.", str(folder), _SHAPE) from None
    if not found.spoken and not found.noise:
        raise CannotDo("holds no recordings.", str(folder), _SHAPE)
    return found


def noise_files(found: Recordings, kind: str) -> list[Path]:
    """The recordings of a kind of room noise, or those at a path. Raises CannotDo."""
    if kind in found.noise:
        return found.noise[kind]
    path = Path(kind)
    files = [path] if path.is_file() else _sounds(path) if path.is_dir() else []
    if not files:
        kinds = ", ".join(found.noise) or "a folder or a sound file"
        close = difflib.get_close_matches(kind, found.noise, n=1)
        mend = f"Did you mean '{close[0]}'?" if close else f"Give one of {kinds}, or a path."
        raise CannotDo(f"there is no noise '{kind}'.", "--noise", mend)
    return files


def speaker_of(label: str, file_name: str) -> str:
    """The name's part before the first `_`; of an unknown word, which comes first, the part after."""
    parts = file_name.split("_")
    return parts[1] if label == UNKNOWN and len(parts) > 1 else parts[0]


def half_of(speaker: str) -> Half:
    """Which half of the speakers somebody is in: the decision was fitted on 'fit' alone."""
    return "fit" if hashlib.sha256(speaker.encode()).digest()[0] % 2 == 0 else "report"


def evenly(paths: list[Path], limit: int | None) -> list[Path]:
    """At most `limit`, spread over the whole list: names begin with the word or the speaker."""
    if limit is None or len(paths) <= limit:
        return paths
    return [paths[i * len(paths) // limit] for i in range(limit)]


def _by_name(folder: Path) -> dict[str, list[Path]]:
    if not folder.is_dir():
        return {}
    found = {path.name: _sounds(path) for path in sorted(folder.iterdir()) if path.is_dir()}
    return {name: paths for name, paths in found.items() if paths}


def _sounds(folder: Path) -> list[Path]:
    return sorted(
        path for path in folder.iterdir()
        if path.suffix.lower() in _SUFFIXES and not path.name.startswith(".")
    )  # fmt: skip
