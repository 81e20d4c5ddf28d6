"""Which ears there are, and which of them can be used on this machine."""

from pathlib import Path

from prompter.hear.ear import Ear
from prompter.hear.vosk_ear import VoskEar
from prompter.hear.whisper_ear import WhisperEar


def every_ear(cache: Path | None = None) -> list[Ear]:
    """All that the program knows, the embedded one first; none is loaded yet.

    `cache`: a folder in which ears may keep what takes long to compute.
    """
    return [WhisperEar(cache=cache), VoskEar()]


def loaded_ears(cache: Path | None = None) -> list[Ear]:
    """Those that are ready, loaded. Raises CannotDo if the embedded one cannot be."""
    embedded, *others = every_ear(cache)
    ears = [embedded, *(ear for ear in others if ear.ready()[0])]
    for ear in ears:
        ear.load()
    return ears
