"""The deadlines of one question: when to repeat, when to act, paused while somebody speaks or asks to wait."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(slots=True)
class SilenceClock:
    """All in session ms; None: not running. Every deadline here waits for a voice, none is a breath.

    `pause_left_ms` is what speaking may still hold this question up, `hold_left_ms` what
    "hold on" may.
    """

    pause_most_ms: int
    hold_most_ms: int
    ask_at: int | None = None
    repeat_at: int | None = None
    act_at: int | None = None
    every_at: int | None = None
    confirm_until: int | None = None
    paused_at: int | None = None
    pause_left_ms: int = 0
    hold_left_ms: int = 0
    hold_owed_ms: int = 0

    def copy(self) -> "SilenceClock":
        """An independent copy."""
        return SilenceClock(
            self.pause_most_ms, self.hold_most_ms, self.ask_at, self.repeat_at, self.act_at, self.every_at,
            self.confirm_until, self.paused_at, self.pause_left_ms, self.hold_left_ms, self.hold_owed_ms,
        )  # fmt: skip

    @property
    def runs(self) -> bool:
        """Whether silence counts towards anything, or a question is to come."""
        return not (self.repeat_at is self.act_at is self.every_at is self.ask_at is None)

    def clear(self) -> None:
        """Nothing is awaited any more; a new question may be held up anew."""
        self.ask_at = self.act_at = self.repeat_at = self.every_at = self.confirm_until = self.paused_at = None
        self.pause_left_ms, self.hold_left_ms = self.pause_most_ms, self.hold_most_ms
        self.hold_owed_ms = 0

    def pause(self, at: int) -> None:
        """Somebody speaks."""
        if self.paused_at is None and self.pause_left_ms > 0:
            self.paused_at = at

    def resume(self, at: int) -> None:
        """Nobody speaks any more, or has for too long: deadlines move by as much as they waited."""
        if self.paused_at is None:
            return
        waited = min(at - self.paused_at, self.pause_left_ms)
        self.pause_left_ms -= waited
        self.paused_at = None
        self._shift(waited, _DEADLINES)

    def hold(self) -> None:
        """ "Hold on": once a question, for the whole of its allowance; also while it is still being asked."""
        if not self.runs:
            self.hold_owed_ms = self.hold_left_ms
        self.wait_for(self.hold_left_ms)
        self.hold_left_ms = 0

    def wait_for(self, by_ms: int) -> None:
        """What silence does is put off; the time for a confirmation is not."""
        self._shift(by_ms, [name for name in _DEADLINES if name != "confirm_until"])

    def take_owed(self) -> int:
        """What "hold on" still has to give to the deadlines that are set now, ms."""
        owed, self.hold_owed_ms = self.hold_owed_ms, 0
        return owed

    def keep_until(self, at: int) -> None:
        """The silent branch is not taken before this."""
        if self.act_at is not None and self.act_at < at:
            self.act_at = at

    def due(self) -> tuple[int, str] | None:
        """The next deadline and its name; while paused, the end of the pause."""
        if self.paused_at is not None:
            return self.paused_at + self.pause_left_ms, "paused_at"
        best: tuple[int, str] | None = None
        for due in (
            (self.ask_at, "ask_at"), (self.act_at, "act_at"), (self.repeat_at, "repeat_at"),
            (self.every_at, "every_at"), (self.confirm_until, "confirm_until"),
        ):  # fmt: skip
            if due[0] is not None and (best is None or due[0] < best[0]):
                best = due
        return best

    def _shift(self, by_ms: int, names: Iterable[str]) -> None:
        for name in names:
            at = getattr(self, name)
            if at is not None:
                setattr(self, name, at + by_ms)


_DEADLINES = ("ask_at", "act_at", "repeat_at", "every_at", "confirm_until")
