"""Unpacks a model's zip into a new folder, and refuses whatever could write anywhere else.

The zip is looked at as a whole before the first byte is written.
"""

import os
import re
import stat
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from prompter import limits
from prompter.errors import CannotDo

_FORBIDDEN = re.compile(r'[\x00-\x1f\x7f\\:*?"<>|]')
"""Separators, drive letters, streams and wildcards of the systems the program runs on."""

_DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_CHUNK_BYTES = 1 << 20


def unpack(
    archive: BinaryIO, into: Path, where: str, progress: Callable[[int, int], None] = lambda *_: None
) -> int:
    """Write what lies below the zip's one top folder into `into`, an empty folder; bytes written.

    `where` names the zip in messages. `progress` gets bytes done and bytes in all. Raises CannotDo
    (nothing but `into` was touched); the caller removes `into` then.
    """
    try:
        with zipfile.ZipFile(archive) as found:
            members = _looked_at(found.infolist(), where)
            total = sum(info.file_size for info, _ in members)
            done = 0
            for info, parts in members:
                done += _write(found, info, into.joinpath(*parts), where)
                progress(done, total)
            return done
    except (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError) as error:
        raise CannotDo(f"the zip is damaged ({error}).", where, "Fetch it again.") from None
    except OSError as error:
        raise CannotDo(
            f"cannot be unpacked: {error.strerror or error}.", str(into.parent),
            "Make room or give write permission, and run it again.",
        ) from None  # fmt: skip


def _looked_at(
    members: list[zipfile.ZipInfo], where: str
) -> list[tuple[zipfile.ZipInfo, tuple[str, ...]]]:
    """The files with their places below the top folder. Raises CannotDo if any member is unfit."""
    if len(members) > limits.UNPACKED_FILES_MAX:
        raise _unfit(where, f"{len(members)} members, {limits.UNPACKED_FILES_MAX} at most")
    if sum(info.file_size for info in members) > limits.UNPACKED_BYTES_MAX:
        raise _unfit(where, f"more than {limits.UNPACKED_BYTES_MAX // 1_000_000} MB in it")
    tops, seen, files = set(), set(), []
    for info in members:
        parts = _parts(info, where)
        tops.add(parts[0])
        if info.is_dir():
            continue
        if len(parts) < 2 or len(tops) > 1:
            raise _unfit(where, f"'{_shown(info)}' is outside of its one folder")
        key = "/".join(parts).lower()
        if key in seen:
            raise _unfit(where, f"'{_shown(info)}' is in it twice")
        seen.add(key)
        files.append((info, parts[1:]))
    if not files:
        raise _unfit(where, "no file in it")
    if any("/".join(key.split("/")[:n]) in seen for key in seen for n in range(1, key.count("/") + 1)):
        raise _unfit(where, "a file and a folder of the same name")
    return files


def _parts(info: zipfile.ZipInfo, where: str) -> tuple[str, ...]:
    """The name taken apart, if it can only be a place inside of a folder on every system."""
    name = info.orig_filename  # `filename` is cut at a NUL and has its separators changed
    parts = tuple(name.removesuffix("/").split("/"))
    for part in parts:
        if part in ("", ".", "..") or _FORBIDDEN.search(part) or part[-1] in ". ":
            raise _unfit(where, f"'{_shown(info)}' is no plain path")
        if _DEVICE.fullmatch(part):
            raise _unfit(where, f"'{_shown(info)}' is a device's name")
    kind = stat.S_IFMT(info.external_attr >> 16)
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        raise _unfit(where, f"'{_shown(info)}' is a link or a device")
    if info.flag_bits & 1:
        raise _unfit(where, f"'{_shown(info)}' is encrypted")
    return parts


def _write(found: zipfile.ZipFile, info: zipfile.ZipInfo, path: Path, where: str) -> int:
    """Never more bytes than the member says it has: the sum of those was looked at."""
    path.parent.mkdir(parents=True, exist_ok=True)
    done = 0
    with found.open(info) as source, path.open("xb") as file:
        while chunk := source.read(_CHUNK_BYTES):
            done += len(chunk)
            if done > info.file_size:
                raise _unfit(where, f"'{_shown(info)}' is longer than it says")
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    if done != info.file_size:
        raise _unfit(where, f"'{_shown(info)}' is shorter than it says")
    return done


def _shown(info: zipfile.ZipInfo) -> str:
    return info.orig_filename.encode("unicode_escape").decode()[:80]


def _unfit(where: str, why: str) -> CannotDo:
    return CannotDo(f"this zip is not unpacked: {why}.", where, "Fetch it from its maker again.")
