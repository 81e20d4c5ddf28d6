"""Counts what a rehearsal is judged by: reply times, wrong branches, what was asked again or assumed."""

from dataclasses import dataclass, field
from typing import Any

from prompter.events import Answered, Moved, Numbered, Record, Say, Tone
from prompter.flow.conditions import guard_of
from prompter.flow.memory import Memory
from prompter.flow.table import STAY, Table
from prompter.practise.caregiver import Utterance


@dataclass(slots=True)
class Said:
    """One utterance of the caregiver and what became of it."""

    utterance: Utterance
    last_sound_ms: int
    heard: str | None = None
    heard_answer: str | None = None
    believed: bool = False
    score: float | None = None
    decided: bool = False
    reply_cue: int | None = None
    reply_ms: int | None = None
    first_try: bool = True

    def record(self) -> dict[str, Any]:
        return {
            "at_ms": self.utterance.begin_ms, "step": self.utterance.step, "said": self.utterance.words,
            "answer": self.utterance.answer, "heard": self.heard, "believed": self.believed,
            "score": self.score, "reply_ms": self.reply_ms, "over": self.utterance.over,
            "first_try": self.first_try,
        }  # fmt: skip


@dataclass
class Tally:
    """Collects while the rehearsal runs; the figures stand in `result`'s words at the end."""

    table: Table
    said: list[Said] = field(default_factory=list)
    path: list[str] = field(default_factory=list)
    wrong_branches: int = 0
    asked_again: int = 0
    assumed: int = 0
    call_reminded_ms: int | None = None

    def utterance(self, utterance: Utterance, last_sound_ms: int) -> None:
        before = self.said[-1] if self.said else None
        again = (
            before is not None and before.utterance.step == utterance.step
            and before.utterance.answer == utterance.answer and not before.believed
        )  # fmt: skip
        self.said.append(Said(utterance, last_sound_ms, first_try=not again))

    def heard(self, record: dict[str, Any]) -> Said | None:
        """Matches what was heard to what was said: the utterance whose sound it overlaps."""
        for said in reversed(self.said):
            if said.utterance.begin_ms < record["ended_ms"] + 200 and record["onset_ms"] < said.utterance.end_ms + 200:
                said.heard = record["heard"] or (f"{record['number'][0]} {record['number'][1]}" if record["number"] else None)
                said.heard_answer = record["answer"] if not record["number"] else f"number {record['number'][1]}"
                said.believed, said.score, said.decided = record["believed"], record["score"], True
                return said
        return None

    def moved(self, move: Moved) -> None:
        if move.machine == "call":
            if move.target == "asked" and self.call_reminded_ms is None:
                self.call_reminded_ms = move.at_ms
            return
        self.path.append(move.target)
        if move.how == "assumed":
            self.assumed += 1

    def judge_answer(self, event: Record, said: Said | None, memory: Memory, cues: list[Record]) -> None:
        """Called for each believed answer with the memory from before it."""
        if isinstance(event, Numbered) and event.how == "spoken":
            right = said is not None and said.utterance.answer == f"number {event.value}"
            self.wrong_branches += not right and any(isinstance(c, Moved) for c in cues)
            return
        if not isinstance(event, Answered) or event.how != "spoken":
            return
        meant = said.utterance.answer if said else None
        if meant == event.answer:
            return
        # Where a noise was taken for an answer, nothing was meant. No row leads on in the call.
        moves = [c for c in cues if isinstance(c, Moved)]
        first = next((m for m in moves if m.machine == "care"), None)
        astray = first is not None and first.target not in self._leads(first.source, meant, memory)
        self.wrong_branches += astray or any(m.machine == "call" for m in moves)

    def judge_assumed(self, move: Moved, memory: Memory, since: int) -> None:
        """A branch was assumed: wrong if an answer that leads elsewhere had been spoken here."""
        for said in self.said[since:]:
            answer = said.utterance.answer
            if said.utterance.step != move.source or answer is None or (said.believed and said.heard_answer == answer):
                continue
            meant = self._leads(move.source, answer, memory)
            if meant and move.target not in meant:
                self.wrong_branches += 1
                return

    def _leads(self, step: str, answer: str | None, memory: Memory) -> set[str]:
        """Where an answer would lead from a step, as things were known."""
        for row in self.table.rows:
            if row.source == step and row.trigger == answer:
                guard = guard_of(row.atoms)
                if guard is None or guard(memory):
                    return {step if row.target == STAY else row.target}
        return set()

    def replied(self, said: Said, cues: list[Record]) -> None:
        """The first word that answers an utterance, whenever it will be played."""
        first = next((c for c in cues if isinstance(c, Say)), None)
        if first is not None and said.reply_cue is None:
            said.reply_cue = first.cue
        elif any(isinstance(c, Tone) for c in cues) and said.reply_cue is None:
            said.reply_cue = -1  # a tone alone: no word to time

    def reply_times(self) -> list[int]:
        """Those of answers given into silence, believed or asked again."""
        return [s.reply_ms for s in self.said if s.reply_ms is not None and s.utterance.over is None]
