"""One thing that was looked at, and what came of it."""

from dataclasses import dataclass
from typing import Literal

State = Literal["ok", "not ok", "could not be tried"]


@dataclass(frozen=True)
class Check:
    """`name`: what was looked at. `detail`: what was found. `mend`: what to do, empty if ok."""

    name: str
    state: State
    detail: str
    mend: str = ""
    doubts: tuple[str, ...] = ()
    """What is suspicious although it is ok; it does not change the verdict."""

    def line(self) -> str:
        """For people, in one line."""
        text = f"{self.state}: {self.name}: {self.detail}"
        return f"{text} Do: {self.mend}" if self.mend else text
