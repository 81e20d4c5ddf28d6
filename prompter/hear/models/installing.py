"""Puts a verified model where its ear looks for it: all of it, or nothing.

Fetched or given, checked by size and SHA-256, unpacked beside the place, renamed into it. Killed at
any moment it leaves the old model, the new one, or none; what else it left goes at the next start.
"""

import contextlib
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from filelock import FileLock, Timeout

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.models.fetching import OFFLINE, Download
from prompter.hear.models.known import Archive
from prompter.hear.models.unpacking import unpack
from prompter.hear.models.verified import MANIFEST, differs, manifest_in, write_manifest

Progress = Callable[[str, int, int], None]
"""Is told what is being done ('fetching', 'checking', 'unpacking'), bytes done, bytes in all."""

_CHUNK_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class Installed:
    """`already`: it was there, whole, and nothing was done. `aside`: where a folder that was not
    ours, and in the way, is now."""

    folder: Path
    archive: Archive
    already: bool
    files: int
    aside: Path | None = None


def install(
    archive: Archive,
    folder: Path,
    source: Path | None = None,
    progress: Progress = lambda *_: None,
    pause_s: float = limits.FETCH_PAUSE_S,
) -> Installed:
    """Install `archive` as `folder`, from the zip `source` or else from the archive's address.

    A failure leaves nothing behind but what was fetched so far, in `<folder>.zip.part`, which the
    next call goes on with, and an empty lock file. Raises CannotDo.
    """
    part = folder.with_name(f"{folder.name}.zip.part")
    with _alone(folder):
        try:
            _clear_leftovers(folder)
            if listed := _whole(folder, archive):
                return Installed(folder, archive, True, len(listed))
            if source is None:
                told = lambda done: progress("fetching", done, archive.size_bytes)
                Download(archive.url, part, archive.size_bytes, told, pause_s).run()
            with _checked(source or part, archive, source is None, progress) as zip_file:
                files, aside = _unpacked(zip_file, source or part, folder, archive, progress)
            if source is None:
                part.unlink(missing_ok=True)
        except KeyboardInterrupt:
            kept = part.stat().st_size if source is None and part.exists() else 0
            what = f"stopped; {kept:,} bytes are kept." if kept else "stopped; nothing was changed."
            mend = "The same command goes on from there." if kept else "Run it again."
            raise CannotDo(what, archive.name, mend) from None
        except OSError as error:
            raise CannotDo(
                f"cannot be installed: {error.strerror or error}.", str(folder),
                "Make room or give write permission, and run it again.",
            ) from None  # fmt: skip
    return Installed(folder, archive, False, files, aside)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One installation at a time; a killed one holds nothing back."""
    try:
        folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = FileLock(f"{folder}.lock", timeout=0, mode=0o600)
        lock.acquire()
    except Timeout:
        raise CannotDo("another installation is running.", str(folder), "Wait for it.") from None
    except OSError as error:
        raise CannotDo(
            f"cannot be written: {error.strerror or error}.", str(folder.parent),
            "Give write permission, or set PROMPTER_HOME to another folder.",
        ) from None  # fmt: skip
    try:
        yield
    finally:
        lock.release()


def _whole(folder: Path, archive: Archive) -> dict[str, str] | None:
    listed = manifest_in(folder, archive)
    return listed if listed and not differs(folder, listed) else None


@contextlib.contextmanager
def _checked(
    path: Path, archive: Archive, ours: bool, progress: Progress
) -> Iterator[BinaryIO]:
    """The zip, opened once: what is unpacked is what was checked. A wrong part is thrown away."""
    try:
        with path.open("rb") as file:
            wrong = _wrong(file, archive, progress)
            if not wrong:
                file.seek(0)
                yield file
                return
    except FileNotFoundError:
        raise CannotDo("there is no such file.", str(path), "Check the path.") from None
    except IsADirectoryError:
        raise CannotDo("is a folder.", str(path), "Give the zip itself.") from None
    if ours:
        path.unlink(missing_ok=True)
        raise CannotDo(f"{wrong}; it was thrown away.", archive.url, OFFLINE)
    raise CannotDo(f"{wrong}.", str(path), f"Give {archive.name}.zip as its maker publishes it.")


def _wrong(file: BinaryIO, archive: Archive, progress: Progress) -> str:
    size = os.fstat(file.fileno()).st_size
    if size != archive.size_bytes:
        return f"this is not the known zip: it has {size:,} bytes, not {archive.size_bytes:,}"
    digest, done = hashlib.sha256(), 0
    while chunk := file.read(_CHUNK_BYTES):
        digest.update(chunk)
        done += len(chunk)
        progress("checking", done, archive.size_bytes)
    if digest.hexdigest() != archive.sha256:
        return "this is not the known zip: its SHA-256 is another one"
    return ""


def _unpacked(
    zip_file: BinaryIO, path: Path, folder: Path, archive: Archive, progress: Progress
) -> tuple[int, Path | None]:
    """Unpack beside `folder` and rename; how many files, and where a foreign folder went."""
    new = Path(tempfile.mkdtemp(prefix=f".{folder.name}.new-", dir=folder.parent))
    try:
        unpack(zip_file, new, str(path), lambda done, total: progress("unpacking", done, total))
        files = write_manifest(new, archive)
        return files, _in_place(new, folder)
    finally:
        shutil.rmtree(new, ignore_errors=True)


def _in_place(new: Path, folder: Path) -> Path | None:
    old = None
    if os.path.lexists(folder):
        ours = (folder / MANIFEST).is_file() and not folder.is_symlink()
        old = Path(tempfile.mkdtemp(prefix=f".{folder.name}.old-", dir=folder.parent)) / "x"
        if not ours:
            old.parent.rmdir()
            old = _free_name(folder)
        os.rename(folder, old)
    try:
        os.rename(new, folder)
    except BaseException:
        if old is not None:
            os.rename(old, folder)
        raise
    _sync(folder.parent)
    if old is None or old.parent == folder.parent:
        return old
    shutil.rmtree(old.parent, ignore_errors=True)
    return None


def _free_name(folder: Path) -> Path:
    number = 1
    while os.path.lexists(folder.with_name(f"{folder.name}-before-{number}")):
        number += 1
    return folder.with_name(f"{folder.name}-before-{number}")


def _clear_leftovers(folder: Path) -> None:
    """What an installation that was killed has left; under the lock nobody else is at it."""
    for left in folder.parent.glob(f".{folder.name}.*-*"):
        shutil.rmtree(left, ignore_errors=True)


def _sync(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every system can flush a folder
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
