"""Where this user's plan, journals and clips are kept, readable by this user alone."""

import os
import tempfile
from pathlib import Path

import platformdirs

from prompter.errors import CannotDo

_NAME = "prompter"


def _home() -> Path | None:
    """PROMPTER_HOME puts everything below one folder (a stick, a test)."""
    home = os.environ.get("PROMPTER_HOME")
    return Path(home).expanduser() if home else None


def _data() -> Path:
    return _home() or platformdirs.user_data_path(_NAME, appauthor=False)


def plan_file() -> Path:
    """The plan that `prompter respond` uses; it need not exist."""
    return _data() / "plan.yaml"


def draft_file() -> Path:
    """The answers so far of `prompter plan new`."""
    return _data() / "plan-draft.json"


def journal_folder() -> Path:
    """The folder of the journals, made if it is missing. Raises CannotDo."""
    return _made(_data() / "journals")


def own_voice_folder() -> Path:
    """Recordings of the caregivers' own voices, a folder each; it need not exist."""
    return _data() / "own-voice"


def standby_folder() -> Path:
    """The folder of standby's log and lock, made if it is missing. Raises CannotDo."""
    return _made(_data() / "standby")


def key_folder() -> Path:
    """Where the keys of encrypted journals are looked for; it need not exist."""
    return _data()


def cache_folder() -> Path:
    """The folder of rendered clips, made if it is missing. Raises CannotDo."""
    home = _home()
    return _made(home / "cache" if home else platformdirs.user_cache_path(_NAME, appauthor=False))


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise CannotDo(
            f"this folder cannot be made: {error.strerror or error}.",
            str(folder),
            "Make room or give write permission, or set PROMPTER_HOME to another folder.",
        ) from None
    return folder


def write_private(path: Path, text: str | bytes) -> None:
    """Writes the whole file or nothing, mode 0600. Raises CannotDo."""
    _made(path.parent)
    try:
        # mkstemp makes the file 0600 from its first moment.
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(text.encode("utf-8") if isinstance(text, str) else text)
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise CannotDo(
            f"cannot be written: {error.strerror or error}.",
            str(path),
            "Make room or give write permission, or name another file.",
        ) from None
