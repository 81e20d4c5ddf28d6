"""Which ears there are, and which of them can be used on this machine."""

from prompter.hear.ear import Ear
from prompter.hear.vosk_ear import VoskEar
from prompter.hear.whisper_ear import WhisperEar


def every_ear() -> list[Ear]:
    """All that the program knows, the embedded one first; none is loaded yet."""
    return [WhisperEar(), VoskEar()]


def loaded_ears() -> list[Ear]:
    """Those that are ready, loaded. Raises CannotDo if the embedded one cannot be."""
    embedded, *others = every_ear()
    ears = [embedded, *(ear for ear in others if ear.ready()[0])]
    for ear in ears:
        ear.load()
    return ears
