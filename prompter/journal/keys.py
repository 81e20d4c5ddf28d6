"""Finds the keys of sealed journals: the public one to write with, the family's private one to read with."""

import contextlib
import getpass
import os
import sys
from pathlib import Path
from typing import Any

from prompter.errors import CannotDo
from prompter.journal.sealing import Sealer, own_sealer, sealer_for

PUBLIC, PRIVATE = "journal-key.pub", "journal-key.txt"
KEY_VARIABLE, PASSPHRASE_VARIABLE = "PROMPTER_JOURNAL_KEY", "PROMPTER_JOURNAL_PASSPHRASE"

_folders: list[Path] = []
_opened: dict[Path, list[Any]] = {}


def look_for_keys_in(folder: Path) -> None:
    """The per-user place, where both may lie; the commands name it at their start."""
    if folder not in _folders:
        _folders.append(folder)


def sealer() -> Sealer | None:
    """For a new journal; None if the family has no key. Raises CannotDo if the key there is unusable."""
    for folder in _folders:
        path = folder / PUBLIC
        if path.exists():
            try:
                return sealer_for(path.read_text("ascii"))
            except (OSError, ValueError) as error:
                raise CannotDo(f"cannot be read ({error}).", str(path), "prompter journal key new") from None
    return None


def identities(journal: Path) -> list[Any]:
    """Every private key at hand. Raises CannotDo for a named key file that is none."""
    import pyrage

    found = []
    own = own_sealer(journal)
    if own is not None:
        with contextlib.suppress(pyrage.IdentityError):
            found.append(pyrage.x25519.Identity.from_str(own.own))
            return found  # an open journal needs nobody's passphrase
    named = os.environ.get(KEY_VARIABLE)
    paths = [Path(named)] if named else [f / PRIVATE for f in _folders if (f / PRIVATE).exists()]
    for path in paths:
        found += _opened.get(path) or _opened.setdefault(path, _read(path))
    return found


def _read(path: Path) -> list[Any]:
    import pyrage

    try:
        data = path.read_bytes()
        if not data.startswith(b"AGE-SECRET-KEY-") and not data.startswith(b"#"):
            if not data.startswith((b"age-encryption.org/", b"-----BEGIN AGE")):  # no passphrase would help
                raise CannotDo("is no key to journals.", str(path), "Give the file that prompter journal key new wrote.")
            data = pyrage.passphrase.decrypt(data, _passphrase(path))
        lines = [line for line in data.decode("ascii").splitlines() if line and not line.startswith("#")]
        return [pyrage.x25519.Identity.from_str(line.strip()) for line in lines]
    except OSError as error:
        raise CannotDo(f"the key cannot be read ({error.strerror}).", str(path)) from None
    except (ValueError, pyrage.DecryptError, pyrage.IdentityError) as error:
        raise CannotDo(f"no key, or another passphrase ({error}).", str(path)) from None


def _passphrase(path: Path) -> str:
    if text := os.environ.get(PASSPHRASE_VARIABLE):
        return text
    if sys.stdin is None or not sys.stdin.isatty():
        raise CannotDo("needs its passphrase.", str(path), f"Set {PASSPHRASE_VARIABLE}.")
    return getpass.getpass(f"Passphrase of {path}: ")


def new_key(passphrase: str | None) -> tuple[str, bytes]:
    """A fresh pair: the public key, and the private one as its file is written."""
    import pyrage

    identity = pyrage.x25519.Identity.generate()
    text = f"# The family's key to the journals. Keep it away from the machine that writes them.\n{identity}\n"
    private = text.encode("ascii")
    return str(identity.to_public()), pyrage.passphrase.encrypt(private, passphrase) if passphrase else private
