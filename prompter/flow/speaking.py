"""How the machine puts what is to be said into cues. The lowest of its layers; each knows those below.

The layers: `speaking`, `beats`, `standing` (one step from its beginning), `moving` (from step to
step), `machine` (events in, cues out).
"""

from prompter.events import Record, Refused, Say
from prompter.flow.memory import Memory
from prompter.flow.outstanding import Outstanding, speech_ms
from prompter.flow.table import Spoken, Table


class Speaking:
    """Says clips, once each with a number, and keeps what has not ended yet."""

    def __init__(self, table: Table) -> None:
        self.table = table
        rules, numbers = table.flow.rules, table.variant.numbers
        self._rules, self._numbers = rules, numbers
        self.memory = Memory(
            marks=set(table.start_marks),
            spo2_floor=numbers["spo2_floor"],
            number_fresh_ms=int(rules.number_fresh_s * 1000),
        )
        self.step = next(iter(table.stands))
        self.now_ms = 0
        self._phase = "talk"  # or "asking": all is said, an answer is awaited
        self._beat = ""  # what is paced now
        self._cues: list[Record] = []
        self._next_cue = 1
        self._outstanding = Outstanding()
        self._last_prompt = ""
        helper = table.variant.words.get("helper")
        self._to_helper = f"{helper}:" if helper else ""

    @property
    def paced(self) -> bool:
        """A beat of breaths or pushes runs now."""
        return self._beat in ("breaths", "pushes")

    def say(self, text: str, role: str) -> int:
        if role == "care" and self._for_helper(text):
            role = "helper"
        cue = self._cue_number()
        self.emit(Say(self.now_ms, cue, text, role, self.step))
        self._outstanding.add(cue, self.now_ms, speech_ms(text), role)
        if role in ("care", "question"):
            self._last_prompt = text
        return cue

    def _say_spoken(self, spoken: Spoken, role: str = "care") -> int | None:
        if spoken.guard is not None and not spoken.guard(self.memory):
            return None
        self.memory.marks.update(spoken.sets)
        self.memory.marks.difference_update(spoken.clears)
        return self.say(spoken.text, role)

    def _say_first(self, lines: tuple[Spoken, ...], role: str = "care") -> int | None:
        for spoken in lines:
            if (cue := self._say_spoken(spoken, role)) is not None:
                return cue
        return None

    def _say_prompt_again(self) -> int | None:
        """Repeats the open question, or the last thing to do."""
        stand = self.table.stands[self.step]
        if stand.ask and self._phase == "asking":
            return self._say_first(stand.ask, "question")
        to_do = [s for s in stand.say if (s.guard is None or s.guard(self.memory)) and not self._for_helper(s.text)]
        return self._say_spoken(to_do[-1]) if to_do else None

    def tell_operator(self, lines: tuple[Spoken, ...]) -> None:
        for spoken in lines:
            self._say_spoken(spoken, "call")

    def choose(self, lines: tuple[Spoken, ...]) -> str | None:
        for spoken in lines:
            if spoken.guard is None or spoken.guard(self.memory):
                return spoken.text
        return None

    def _for_helper(self, text: str) -> bool:
        return text.startswith(self._to_helper) if self._to_helper else False

    def _cue_number(self) -> int:
        self._next_cue += 1
        return self._next_cue - 1

    def emit(self, cue: Record) -> None:
        self._cues.append(cue)

    def _refuse(self, what: str, why: str) -> None:
        self.emit(Refused(self.now_ms, what, why))
