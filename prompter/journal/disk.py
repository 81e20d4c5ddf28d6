"""The few things the journal asks of a disk, so that tests can put a failing one in its place."""

import os
from pathlib import Path
from typing import Protocol


class Disk(Protocol):
    """An open journal file. Every method raises OSError when the disk fails."""

    def append(self, data: bytes) -> None: ...
    def sync(self) -> None: ...
    def truncate(self, size: int) -> None: ...
    def close(self) -> None: ...


class FileDisk:
    """A real file, readable by its owner alone. `new` makes it and fails if it is there."""

    def __init__(self, path: Path, new: bool) -> None:
        flags = os.O_RDWR | getattr(os, "O_BINARY", 0) | (os.O_CREAT | os.O_EXCL if new else 0)
        self._fd = os.open(path, flags, 0o600)
        try:
            os.lseek(self._fd, 0, os.SEEK_END)
            if new:
                _sync_folder(path.parent)
        except OSError:
            os.close(self._fd)
            raise

    def append(self, data: bytes) -> None:
        """Writes all of `data` at the end; it is safe only after `sync`."""
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(self._fd, rest) :]

    def sync(self) -> None:
        """Returns when the disk has everything."""
        os.fsync(self._fd)

    def truncate(self, size: int) -> None:
        """Cuts the file to `size` bytes and goes on from there."""
        os.ftruncate(self._fd, size)
        os.lseek(self._fd, size, os.SEEK_SET)

    def close(self) -> None:
        os.close(self._fd)


def _sync_folder(folder: Path) -> None:
    """Makes a new file's name survive a power loss, where the system can (Windows cannot)."""
    if os.name == "posix":
        fd = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
