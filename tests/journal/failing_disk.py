"""A disk that can be told to fail, for the tests of the journal's writers."""

import errno
from pathlib import Path

from prompter.journal.disk import FileDisk


class FailingDisk(FileDisk):
    """A real file; while `broken` holds its folder it refuses, after half of each write."""

    broken: set[Path] = set()
    syncs = 0

    def __init__(self, path: Path, new: bool) -> None:
        self.folder = path.parent
        self.fail()
        super().__init__(path, new)

    def fail(self) -> None:
        if self.folder in self.broken:
            raise OSError(errno.ENOSPC, "No space left on device")

    def append(self, data: bytes) -> None:
        if self.folder in self.broken:
            super().append(data[: len(data) // 2])
        self.fail()
        super().append(data)

    def sync(self) -> None:
        self.fail()
        type(self).syncs += 1
        super().sync()

    def truncate(self, size: int) -> None:
        self.fail()
        super().truncate(size)
