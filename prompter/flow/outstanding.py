"""Which clips and counted beats are still being played, and by when each must have ended.

The loudspeaker reports ends. If it never does (dead voice, lost device), the bound kept here lets
the flow go on: nothing in an emergency waits for a report.
"""

from functools import cache

from prompter.limits import PROMPT_LOST_MS, SPEECH_FIXED_MS, SPEECH_WORD_MS


@cache
def speech_ms(text: str) -> int:
    """A generous length for a clip of this text, in ms."""
    return SPEECH_FIXED_MS + SPEECH_WORD_MS * len(text.split())


_NOT_OF_CARE = frozenset({"call", "notice", "echo"})


class Outstanding:
    """Cues in the order of playing, each with the time by which it has surely ended."""

    def __init__(self) -> None:
        self._ends_by: dict[int, int] = {}  # each ends after the one before it
        self._roles: dict[int, str] = {}
        self._busy_until = 0

    def copy(self) -> "Outstanding":
        """An independent copy."""
        twin = object.__new__(Outstanding)
        twin._ends_by, twin._roles, twin._busy_until = dict(self._ends_by), dict(self._roles), self._busy_until
        return twin

    def add(self, cue: int, now: int, lasts_ms: int | None, role: str) -> int:
        """Returns when it will have begun at the latest. An endless beat ends by no time."""
        begins = max(self._busy_until, now)
        if lasts_ms is not None:
            self._busy_until = begins + lasts_ms
            self._ends_by[cue] = self._busy_until + PROMPT_LOST_MS
            self._roles[cue] = role
        return begins

    def end(self, cue: int) -> None:
        """It has been played, cut, or is taken for lost."""
        self._ends_by.pop(cue, None)
        self._roles.pop(cue, None)
        # What was dropped from behind the last one left is not waited for by what comes next.
        self._busy_until = next(reversed(self._ends_by.values())) - PROMPT_LOST_MS if self._ends_by else 0

    def forget_care(self) -> None:
        """The step was left: what care still wanted to say will not be waited for."""
        for cue in [c for c, role in self._roles.items() if role not in _NOT_OF_CARE]:
            self.end(cue)

    def knows(self, cue: int) -> bool:
        return cue in self._ends_by

    def ends_by(self, cue: int) -> int | None:
        """By when it has surely ended; None if it is not waited for."""
        return self._ends_by.get(cue)

    def role(self, cue: int) -> str | None:
        """Whose part the cue is; None if it is not waited for."""
        return self._roles.get(cue)

    def first(self) -> int | None:
        """The cue whose bound comes first."""
        return next(iter(self._ends_by), None)

    def lost_at(self) -> int | None:
        """When the first bound passes."""
        for at in self._ends_by.values():
            return at
        return None
