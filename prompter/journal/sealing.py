"""Journals that only the family can read: each line is encrypted by itself, so a torn tail loses one line.

A sealed line is the base64 of an age file (age-encryption.org/v1) that holds the journal's line; any
age tool opens it. It is sealed for two keys: the family's, whose private half need not be on this
machine, and one of the journal's own, which lies beside it until it is closed, so that an emergency
can be taken up again. An unsealed line among sealed ones is read as it is.
"""

import base64
import binascii
import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from prompter.errors import CannotDo

_MARK = base64.b64encode(b"age-encryption.org/v1"[:21])[:24]


@dataclass(frozen=True)
class Sealer:
    """Encrypts for the family's public key and, if there is one, for the journal's own."""

    family: str
    own: str = ""

    def seal(self, data: bytes) -> bytes:
        """`data` as an age file."""
        import pyrage

        keys = [pyrage.x25519.Recipient.from_str(self.family)]
        if self.own:
            keys.append(pyrage.x25519.Identity.from_str(self.own).to_public())
        return pyrage.encrypt(data, keys)

    def line(self, line: bytes) -> bytes:
        """One line of the journal (with its newline) as it is written."""
        return base64.b64encode(self.seal(line.rstrip(b"\n"))) + b"\n"


def sealer_for(family: str) -> Sealer:
    """Raises CannotDo if this is no public key, or the encryption library is missing."""
    try:
        sealer = Sealer(family.strip(), _new_identity())
        sealer.seal(b"")
    except Exception as error:  # noqa: BLE001 - the library's own errors, or that it is not there
        raise CannotDo(f"the journal's key cannot be used ({error}).", mend="prompter journal key new") from None
    return sealer


def _new_identity() -> str:
    import pyrage

    return str(pyrage.x25519.Identity.generate())


# ---- the journal's own key, beside it until it is closed -----------------------------------------


def own_key_path(journal: Path) -> Path:
    return journal.with_name(f"{journal.name}.key")


def keep_own_key(journal: Path, sealer: Sealer) -> None:
    """Writes it for `own_sealer`, flushed, mode 0600. Raises OSError."""
    flags = os.O_RDWR | os.O_CREAT | os.O_TRUNC
    with os.fdopen(os.open(own_key_path(journal), flags, 0o600), "w") as file:
        file.write(f"{sealer.family}\n{sealer.own}\n")
        file.flush()
        os.fsync(file.fileno())


def own_sealer(journal: Path) -> Sealer | None:
    """What this journal was sealed with, while it is open."""
    with contextlib.suppress(OSError, ValueError):
        family, own = own_key_path(journal).read_text("ascii").split()
        return Sealer(family, own)
    return None


def drop_own_key(journal: Path) -> None:
    """From now on only the family can read it."""
    with contextlib.suppress(OSError):
        own_key_path(journal).unlink()


# ---- reading -------------------------------------------------------------------------------------


def is_sealed(data: bytes) -> bool:
    """Whether the first line is (a torn one as well)."""
    return data.startswith(_MARK)


def unseal(data: bytes, identities: Callable[[], list[Any]], name: str) -> bytes:
    """The journal in clear, line for line; what cannot be opened is left as it is, and is bad.

    `identities` gives age identities, and is only asked if a line is sealed. Raises CannotDo if none
    of them opens the first line.
    """
    lines = data.split(b"\n")
    if not any(line.startswith(_MARK) for line in lines):
        return data
    keys = identities()
    clear = [_open(line, keys) if line.startswith(_MARK) else line for line in lines]
    if is_sealed(data) and clear[0] == lines[0]:
        raise CannotDo(
            "is encrypted, and no key here opens it.", name, "Give the family's key: --key FILE."
        )
    return b"\n".join(clear)


def _open(line: bytes, keys: list[Any]) -> bytes:
    import pyrage

    try:
        found = pyrage.decrypt(base64.b64decode(line, validate=True), keys)
    except (pyrage.DecryptError, binascii.Error, ValueError):
        return line
    return line if b"\n" in found else found


def open_file(data: bytes, identities: Callable[[], list[Any]]) -> bytes | None:
    """A sealed file (sound); None if no key here opens it."""
    import pyrage

    try:
        return pyrage.decrypt(data, identities())
    except (pyrage.DecryptError, ValueError):
        return None
