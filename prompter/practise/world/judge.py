"""Looks on at a run: wrong branches, and what must hold whatever people do."""

import re

from prompter.events import Answered, Moved, Numbered, Record, Say, Unclear
from prompter.flow.machine import FlowMachine
from prompter.practise.world.eyes import Eyes
from prompter.practise.world.laid_out import LaidOut
from prompter.practise.world.person import Spoken
from prompter.practise.world.understanding import meaning_of

SLACK_MS = 3_000
"""A clip that has begun is not cut by a deadline, and a walk of deadlines ends with one."""

GAP_MS, GAP_CHANGING_MS, GAP_TUBE_OUT_MS = 30_000, 60_000, 45_000
"""Between breath prompts while not better: at most this (the brief's limits)."""

NEARLY_DUE_MS = 22_000
"""Who leaves a change stands as if the last breath were this long ago, as on the walk (`proof/properties/breaths.py`)."""

FIRST_MS = {"ventilated": 20_000, "to take off": 60_000, "": 45_000}
CALL_LATE_MS = 5_000
BREATHS = re.compile(r"(?i)^(?!Stop ).*squeez|^Breathe into")
"""Words that tell to breathe for somebody; putting on bag or mask is not yet a breath."""

PULLS = re.compile(r"^Pull (out the old one|the tube out|it all the way)")
QUIET_STEPS = frozenset({"settle", "watch", "bag-or-vent", "no-tube-watch", "handed-over", "closing", "debrief", "debrief-bag", "debrief-phone", "debrief-end", "closed"})

SPOKEN = (Answered, Numbered, Unclear)
"""Events of somebody who says or keys something."""


class Judge:
    """`failures`: what a run must not do, each in one line. Counts wrong branches by their cause."""

    def __init__(self, machine: FlowMachine, eyes: Eyes, laid_out: LaidOut) -> None:
        self._machine, self._eyes, self._laid_out = machine, eyes, laid_out
        self.failures: list[str] = []
        self.faults: list[str] = []
        self.not_understood: set[str] = set()
        self.wrong = {"misheard": 0, "misreported": 0, "assumed": 0}
        self.assumed = 0
        self.first_wrong_ms: int | None = None
        self.last_spoken: Spoken | None = None
        self.last_believed: str | None = None
        self.utterances = self.believed = 0
        self.beating = False  # a beat of breaths or pushes is sounding now
        self._breath_ms: int | None = None
        self._changing_ms: int | None = None  # when a tube was last being changed
        self._heard_anybody = False
        self._call_ms: int | None = None
        self._truth: str | None = None
        self._failed: set[str] = set()

    @property
    def last_said(self) -> str | None:
        return self.last_spoken.answer if self.last_spoken else None

    def said(self, spoken: Spoken) -> None:
        self.last_spoken = spoken

    def fail(self, what: str) -> None:
        self.failures.append(what)

    def _fail_once(self, name: str, what: str) -> None:
        if name not in self._failed:
            self._failed.add(name)
            self.fail(what)

    # ---- around each event

    def before(self, event: Record) -> None:
        """The truth of the question that is open, should silence be taken for an answer now."""
        self._truth = None
        machine, spoken = self._machine, isinstance(event, SPOKEN)
        if spoken or machine.waits:
            ask = machine.table.stands[machine.step].ask
            meaning = meaning_of(ask[-1].text) if ask else None
            if meaning is not None and meaning.sort == "ask":
                self._truth = self._eyes.truth(meaning.what)
        if spoken:
            self._heard_anybody = True
            self.last_believed = event.answer if isinstance(event, Answered) else None

    def after(self, event: Record, cues: list[Record], spoken: Spoken | None) -> None:
        if spoken is not None and isinstance(event, SPOKEN):
            self.utterances += 1
            self.believed += isinstance(event, Answered) and event.answer == spoken.answer
        for cue in cues:
            if isinstance(cue, Moved) and cue.machine == "care":
                self._judge_move(cue, event, spoken)
            elif isinstance(cue, Say):
                self._judge_prompt(cue)
        self._judge_time(event.at_ms)

    # ---- wrong branches

    def _judge_move(self, move: Moved, event: Record, spoken: Spoken | None) -> None:
        if move.how == "assumed":
            self.assumed += 1
            self._wrong_if("assumed", self._truth, move)
        elif move.how == "spoken" and isinstance(event, Answered) and move.answer is not None:
            truth = spoken.truth if spoken is not None else None
            if truth == event.answer:
                return
            misheard = spoken is None or spoken.answer != event.answer
            if spoken is None:
                self._count("misheard", move)
            else:
                self._wrong_if("misheard" if misheard else "misreported", truth, move)

    def _wrong_if(self, sort: str, truth: str | None, move: Moved) -> None:
        """Wrong if the truth would have led elsewhere from here."""
        meant = self._laid_out.leads.get((move.source, truth or ""))
        if meant is not None and move.target not in meant:
            self._count(sort, move)

    def _count(self, sort: str, move: Moved) -> None:
        self.wrong[sort] += 1
        if self.first_wrong_ms is None:
            self.first_wrong_ms = move.at_ms

    # ---- what must hold

    def _judge_prompt(self, say: Say) -> None:
        if say.role == "call" and self._call_ms is None:
            self._call_ms = say.at_ms
            if say.at_ms > self._laid_out.call_after_ms + CALL_LATE_MS and not self._shaken():
                self._fail_once("call", f"the call was asked for after {say.at_ms / 1000:.1f} s")
        memory = self._machine.memory
        if PULLS.search(say.text) and memory.reason is None and memory.known["tube"] == "proven open":
            self._fail_once("reason", f"“{say.text}” without a reason, the tube proven open")

    def heard(self, text: str, at_ms: int) -> None:
        """A prompt was played to its end: what was cut tells nobody to breathe."""
        if BREATHS.search(text):
            self.breath_asked(at_ms)

    def breath_asked(self, at_ms: int) -> None:
        """By a word or a tone that was played."""
        if self._breath_ms is None and not self._heard_anybody and not self._shaken():
            facts = self._machine.table.variant.facts
            limit = FIRST_MS["ventilated"] if "ventilated" in facts else FIRST_MS["to take off"] if facts & {"on tube", "inner tube"} else FIRST_MS[""]
            if at_ms > limit + SLACK_MS:
                self._fail_once("first", f"in silence the first breath prompt came after {at_ms / 1000:.1f} s")
        self._breath_ms = at_ms

    def _judge_time(self, now: int) -> None:
        machine = self._machine
        memory = machine.memory
        if machine.step in QUIET_STEPS or memory.known["breathing"] == "better" or machine.closed:
            self._breath_ms = None  # trouble that begins anew begins anew
            return
        if self.beating:
            self._breath_ms = now
            return
        if self._breath_ms is None or self._shaken():
            return
        since, limit = self._breath_ms, GAP_MS
        out_ms = memory.since.get("tube is out")
        if out_ms is not None and out_ms >= since:  # the tube came out with or after the last breath
            since, limit = out_ms, GAP_TUBE_OUT_MS
        elif "changing" in memory.marks and memory.known["tube"] != "out":
            self._changing_ms, limit = now, GAP_CHANGING_MS
        elif self._changing_ms is not None and self._changing_ms > since:
            # Who leaves a change (takes it back) had its longer time, and has no more than that of it.
            if now - since > GAP_CHANGING_MS + SLACK_MS:
                self._fail_once("gap", f"no breath prompt for {(now - since) / 1000:.0f} s at {machine.step}, out of a change")
            since = max(since, self._changing_ms - NEARLY_DUE_MS)
        if now - since > limit + SLACK_MS:
            self._fail_once("gap", f"no breath prompt for {(now - since) / 1000:.0f} s at {machine.step}")

    def _shaken(self) -> bool:
        """A clock that leapt or a loudspeaker that tells nothing: times are not the flow's."""
        return bool(self.faults) and ("clock" in self.faults or "loudspeaker" in self.faults)
