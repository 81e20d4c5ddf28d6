"""Where the embedded speech engine lies, and how it is unloaded: for both ways of using it."""

import ctypes
import os
from collections.abc import Callable
from functools import cache
from pathlib import Path

from prompter.errors import CannotDo

DATA_PATH_MAX = 150  # the library cuts its path off at 160 bytes
MEND = "Install the package espeakng-loader again."


@cache
def places() -> tuple[str, bytes]:
    """The engine's library file and data folder. Raises CannotDo."""
    try:
        import espeakng_loader

        library, data = espeakng_loader.get_library_path(), espeakng_loader.get_data_path()
    except (ImportError, RuntimeError, OSError) as reason:
        raise CannotDo(f"the voice is not installed: {reason}.", "espeakng-loader", MEND) from None
    if not Path(library).is_file() or not Path(data, "phontab").is_file():
        raise CannotDo("the voice's files are incomplete.", data, MEND)
    encoded = os.fsencode(data)
    if len(encoded) > DATA_PATH_MAX:
        raise CannotDo("the voice's folder has too long a path.", data, "Install nearer the root.")
    return library, encoded


def data_folder() -> Path:
    """Where the engine's voices lie. Raises CannotDo."""
    return Path(os.fsdecode(places()[1]))


def unload(library: ctypes.CDLL) -> None:
    # ctypes itself never unloads; these two are its own doors to the system's call.
    import _ctypes

    close: Callable[[int], object] = getattr(_ctypes, "dlclose", None) or _ctypes.FreeLibrary
    close(library._handle)
