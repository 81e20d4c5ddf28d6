"""The emergency call: a second flat machine beside care, which it never makes wait."""

from transitions import Machine

from prompter.events import How, Moved
from prompter.flow.speaking import Speaking
from prompter.flow.table import Table

STEPS = ("not yet", "asked", "on speaker", "no phone", "ended")

ROWS = [
    # trigger, source, target (None: stays)
    ("due", "not yet", "asked"),
    ("due", ["asked", "no phone"], None),
    ("remind", ["asked", "no phone"], None),
    ("on speaker", ["not yet", "asked", "no phone", "on speaker"], "on speaker"),
    ("no phone", ["not yet", "asked", "on speaker", "no phone"], "no phone"),
    ("ended", ["not yet", "asked", "on speaker", "no phone"], "ended"),
    ("restart", ["ended", "on speaker"], "not yet"),
    ("at rest", ["asked", "on speaker", "no phone", "ended"], "not yet"),
]

_ENGINE = Machine(
    model=None, states=list(STEPS), initial="not yet", auto_transitions=False,
    ignore_invalid_triggers=True, model_attribute="step",
    transitions=[{"trigger": t, "source": s, "dest": d} for t, s, d in ROWS],
)  # fmt: skip


class Call:
    """Where the call stands. `by`: who speaks and cues for it, at its present time."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.step = "not yet"
        self.reasons: list[str] = []
        self.due_at: int | None = None
        self._asked_at: int | None = None
        part = table.flow.call
        self._every_ms = {"asked": int(part.reminder_s * 1000), "no phone": int(part.reminder_without_phone_s * 1000)}

    def copy(self) -> "Call":
        """An independent copy."""
        twin = object.__new__(type(self))
        twin.__dict__ = self.__dict__.copy()
        twin.reasons = list(self.reasons)
        return twin

    def start(self, by: Speaking) -> None:
        """The timer starts: at the beginning, and at each "getting worse". A call asked for stays so."""
        if self.step in ("ended", "on speaker"):
            self._fire("restart", by, "spoken", None)
        if self.step == "not yet":
            self.due_at = by.now_ms + max(int(self.table.variant.numbers["call_after_s"] * 1000), 1)

    def ask_now(self, by: Speaking, reason: str, how: How) -> None:
        """It is due: the timer ran out, or something happened that needs the call at once."""
        if reason in self.reasons and self.step in ("asked", "on speaker", "no phone"):
            return
        self.reasons.append(reason)
        if self.step == "not yet":
            self._fire("due", by, how, reason)
            self._ask(by)
        elif self.step == "no phone" and by.now_ms - (self._asked_at or 0) >= self._every_ms["asked"]:
            self._find_a_phone(by)  # it has become worse: now, not when it would be time

    def remind(self, by: Speaking) -> None:
        """The timer of this step ran out."""
        if self.step == "not yet":
            self.ask_now(by, "time", "timed")
        elif self.step == "no phone":
            self._find_a_phone(by)
        elif self.step == "asked":
            part = self.table.flow.call
            self._ask_in(self.table.line(part.ask_paced if by.paced else part.remind), by)

    def wake(self, by: Speaking) -> None:
        """Trouble again after it was at rest: its timer starts."""
        if self.step == "not yet" and self.due_at is None:
            self.start(by)

    def becomes(self, step: str, by: Speaking, how: How) -> None:
        """ "Phone on speaker", "no phone", handed over. At rest: no timer runs, and any reason asks for it anew."""
        before = self.step
        self._fire(step, by, how, None)
        if step == "at rest":
            self.due_at, self.reasons = None, []
        if self.step != step or before == step:
            return
        self._remind_from(by.now_ms)
        if step == "on speaker":
            by.tell_operator(self.table.on_speaker)
        elif step == "no phone":
            self._find_a_phone(by)  # said before the call was asked for, nothing else would ask for a phone

    def take_back(self, before: str, by: Speaking) -> None:
        """ "That was wrong": the call was not on speaker (or the crew has it) after all. What was asked for stays asked for."""
        if self.step == "not yet" and self.due_at is None:  # it was at rest: as it stood before that
            if before == "not yet":
                self.start(by)
            else:
                self.step = before
                self._remind_from(by.now_ms)
                by.emit(Moved(by.now_ms, "call", "not yet", before, "spoken", "wrong"))
            return
        if self.step != before and before in (*self._every_ms, "ended"):
            source, self.step = self.step, before
            self._remind_from(by.now_ms)
            by.emit(Moved(by.now_ms, "call", source, before, "spoken", "wrong"))

    def _ask(self, by: Speaking) -> None:
        text = self.table.line(self.table.flow.call.ask_paced) if by.paced else by.choose(self.table.call_ask)
        self._ask_in(text or self.table.line(self.table.flow.call.remind), by)

    def _find_a_phone(self, by: Speaking) -> None:
        self._ask_in(self.table.line(self.table.flow.call.remind_without_phone), by)

    def _ask_in(self, text: str, by: Speaking) -> None:
        by.say(text, "call")
        self._asked_at = by.now_ms
        self._remind_from(by.now_ms)

    def _remind_from(self, at: int) -> None:
        """Reminders are counted from when it was last asked for, however often somebody has no phone."""
        every_ms = self._every_ms.get(self.step)
        last = self._asked_at if self._asked_at is not None else at
        self.due_at = None if every_ms is None else max(at, last + every_ms)

    def _fire(self, trigger: str, by: Speaking, how: How, reason: str | None) -> None:
        source = self.step
        self._take(trigger)
        if self.step != source:
            by.emit(Moved(by.now_ms, "call", source, self.step, how, None, reason or ""))

    def _take(self, trigger: str) -> None:
        _ENGINE.events[trigger].trigger(self)
