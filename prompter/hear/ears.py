"""Which ears there are, and which of them can be used on this machine."""

from collections.abc import Callable
from pathlib import Path

from prompter.errors import CannotDo
from prompter.hear.beside import SecondModel
from prompter.hear.ear import Ear
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.vosk_ear import VoskEar


def embedded_ear(cache: Path | None = None) -> EmbeddedEar:
    """The one that comes with the program, with the second model where that is installed.

    Two models take a core each: with two for the first alone they get in each other's way (90
    answers by 19 voices on two cores: p50 72 ms instead of 85).
    """
    second = SecondModel(cache=cache)
    return EmbeddedEar(threads=1 if second.ready()[0] else 2, cache=cache, second=second)


def every_ear(cache: Path | None = None) -> list[Ear]:
    """All that the program knows, the embedded one first; none is loaded yet.

    `cache`: a folder in which ears may keep what takes long to compute.
    """
    return [embedded_ear(cache), VoskEar()]


def loaded_ears(
    cache: Path | None = None, tell: Callable[[str], None] = lambda line: None
) -> list[Ear]:
    """Those that are ready, loaded. Raises CannotDo if the embedded one cannot be.

    `tell` is given a line for each folder that the user named and that is not used.
    """
    embedded, *others = every_ear(cache)
    embedded.load()
    ears = [embedded]
    if note := getattr(embedded, "note", ""):
        tell(f"{embedded.name}: {note}.")
    for ear in others:
        if ear.ready()[0]:
            try:
                ear.load()
                ears.append(ear)
            except CannotDo as error:
                tell(f"{ear.name}: {error.one_line()}")
    return ears
