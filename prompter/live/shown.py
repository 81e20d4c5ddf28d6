"""What the screen is given to show: one frozen picture of the emergency."""

from dataclasses import dataclass

Key = tuple[str, str]
"""A key and the wording it stands for."""


@dataclass(frozen=True)
class Shown:
    """`parts`: (name, state) of call, microphone, voice, … `typed`: the number being typed, or None."""

    title: str = ""
    prompt: str = ""
    own_keys: tuple[Key, ...] = ()
    more_keys: tuple[Key, ...] = ()
    parts: tuple[tuple[str, str], ...] = ()
    heard: str = ""
    notice: str = ""
    typed: str | None = None
