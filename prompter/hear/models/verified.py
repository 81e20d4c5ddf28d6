"""Tells whether a folder holds a known model, whole and untouched, wherever the folder lies."""

import hashlib
import json
import os
import re
from collections.abc import Mapping
from pathlib import Path

from prompter.hear.models.known import VOSK_ENGLISH, VOSK_ENGLISH_FILES, Archive

MANIFEST = "prompter-manifest.json"
"""Written by `install` into the folder: the SHA-256 of each file of the verified zip. It shows
accident and careless edits, not forgery by somebody who rewrites folder and manifest together."""

_HARMLESS = re.compile(
    rf"(README|LICEN[CS]E|NOTICE|COPYING)[\w.-]*|\..*|preprocessor_config\.json|{re.escape(MANIFEST)}",
    re.IGNORECASE,
)
"""Files beside the weights that no recogniser reads. Anything else it might: Vosk loads a graph, a
rescoring or another grammar if it finds one."""


def differs(folder: Path, files: Mapping[str, str]) -> str:
    """Why `folder` is not exactly these files (path: SHA-256); empty if it is.

    Reads them all: 0.1 to 0.4 s for a model of 75 MB.
    """
    try:
        for name in files:
            if not (folder / name).is_file():
                return f"{name} is missing"
        if foreign := _foreign(folder, files):
            return f"{foreign} does not belong to the known model"
        for name, expected in files.items():
            if sha256_of(folder / name) != expected:
                return f"{name} is not the known one"
    except OSError as error:
        return f"it cannot be read ({error.strerror or error})"
    return ""


def not_the_known_vosk(folder: Path, archive: Archive = VOSK_ENGLISH) -> str:
    """Why the second ear may not load `folder`; empty if it may: it holds what `install` unpacked,
    by its manifest, or the known files, however they came there."""
    if (listed := manifest_in(folder, archive)) is not None:
        return differs(folder, listed)
    return differs(folder, VOSK_ENGLISH_FILES)


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write_manifest(folder: Path, archive: Archive) -> int:
    """Lists every file below `folder`, with the archive they come from; how many."""
    files = {name: sha256_of(folder / name) for name in sorted(_names(folder))}
    record = {
        "version": 1, "archive": archive.name, "archive_sha256": archive.sha256, "files": files,
    }  # fmt: skip
    with (folder / MANIFEST).open("x", encoding="utf-8") as file:
        json.dump(record, file, indent=1)
        file.flush()
        os.fsync(file.fileno())
    return len(files)


def manifest_in(folder: Path, archive: Archive) -> dict[str, str] | None:
    """The files that `install` unpacked from `archive`; None without a readable list of them."""
    try:
        record = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        files = record["files"]
        known = record["version"] == 1 and record["archive_sha256"] == archive.sha256
    except (OSError, ValueError, KeyError, TypeError):
        return None
    plain = isinstance(files, dict) and all(isinstance(v, str) and _inside(k) for k, v in files.items())
    return files if known and plain and files else None


def _inside(name: str) -> bool:
    return ".." not in Path(name).parts and not Path(name).is_absolute()


def _foreign(folder: Path, files: Mapping[str, str]) -> str:
    extra = sorted(n for n in _names(folder) - set(files) if not ("/" not in n and _HARMLESS.fullmatch(n)))
    return extra[0] if extra else ""


def _names(folder: Path) -> set[str]:
    """Everything below `folder` that is no plain folder, as relative paths with `/`."""
    found: set[str] = set()
    for where, folders, files in os.walk(folder):
        linked = [name for name in folders if (Path(where) / name).is_symlink()]
        found |= {(Path(where) / name).relative_to(folder).as_posix() for name in [*files, *linked]}
    return found
