"""Keeps a protocol that was read and checked once, so that the next emergency begins sooner.

Reading the YAML takes a quarter of a second; the checked protocol as JSON takes a tenth of that.
"""

import contextlib
import hashlib
import os
import tempfile
from pathlib import Path

from prompter import __version__
from prompter.flow.document import Flow


def cached_flow(path: Path, text: str, folder: Path | None) -> Flow:
    """The protocol in `path`, whose content is `text`. Raises CannotDo as `load_flow` does.

    A cache that is missing, damaged or of another version is passed over and written anew.
    """
    kept = folder / f"flow-{_digest(text)}.json" if folder else None
    if kept is not None:
        with contextlib.suppress(OSError, ValueError):
            digest, _, body = kept.read_text(encoding="utf-8").partition("\n")
            if digest == _digest(body):
                return Flow.model_validate_json(body)
    from prompter.flow.reading import load_flow  # only now: what checks a protocol takes a while to load

    flow = load_flow(path)
    if kept is not None:
        with contextlib.suppress(OSError):
            body = flow.model_dump_json(by_alias=True, exclude_unset=True)
            _write(kept, f"{_digest(body)}\n{body}")
    return flow


def _digest(text: str) -> str:
    return hashlib.sha256(f"{__version__}\0{text}".encode()).hexdigest()[:32]


def _write(path: Path, text: str) -> None:
    handle, name = tempfile.mkstemp(prefix=".making-", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.replace(name, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise
