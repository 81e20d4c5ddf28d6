"""Keeps what each wording scores in silence from one start to the next: computing them takes seconds.

A file that is missing, damaged, or of another model is as if there were none; nothing here raises.
"""

import contextlib
import json
import math
import os
from pathlib import Path

VERSION = 1


def load(folder: Path | None, model: str) -> dict[str, float]:
    """Wording -> score, for the model called `model`."""
    if folder is None:
        return {}
    with contextlib.suppress(OSError, ValueError, AttributeError):
        kept = json.loads(_file(folder, model).read_text("utf-8"))
        if kept.get("version") == VERSION and kept.get("model") == model:
            scores = kept["scores"]
            if all(isinstance(v, float) and math.isfinite(v) for v in scores.values()):
                return dict(scores)
    return {}


def save(folder: Path | None, model: str, scores: dict[str, float]) -> None:
    """Writes the whole file or nothing."""
    if folder is None:
        return
    with contextlib.suppress(OSError):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        fresh = folder / f".{_file(folder, model).stem}-{os.getpid()}"
        body = {"version": VERSION, "model": model, "scores": scores}
        fresh.write_text(json.dumps(body, ensure_ascii=False), "utf-8")
        fresh.replace(_file(folder, model))


def _file(folder: Path, model: str) -> Path:
    """One for each make of model: its name begins with a word, or with its size."""
    make = model.split()[0]
    return folder / ("silence-scores.json" if make.isdigit() else f"silence-scores-{make}.json")
