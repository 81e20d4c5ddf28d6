"""What the screen is given to show: one frozen picture of the emergency."""

from dataclasses import dataclass

Key = tuple[str, str]
"""A key and the wording it stands for."""


@dataclass(frozen=True)
class Panel:
    """Lines beside the step. `told`: sentences, each with when it became so; `facts`: what the plan says."""

    title: str
    told: tuple[tuple[str, str], ...]
    facts: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is told, each with its time: "A new tube is in, 4 min ago."."""
        return tuple(f"{text.rstrip('.')}, {when}." if when else text for text, when in self.told)


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
    panel: Panel | None = None
