"""One emergency wired together: the only place that knows all rooms. Live and rehearsed run this same code.

A session has no clock and no thread of its own. Its runner (live: `prompter/live/`; rehearsed:
`prompter/practise/`) calls it from one thread with the session time in ms:
`hear_block` for each block of microphone sound, `press` for a key, `turn` often (every block).
The mixer is pulled by somebody else meanwhile; `sound_ms` turns its sample positions into session
time.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol

import numpy as np

from prompter import limits
from prompter.events import (
    Answered,
    Failed,
    Moved,
    Numbered,
    Pace,
    PaceStopped,
    PromptEnded,
    Record,
    Recovered,
    Resumed,
    Say,
    SpeechEnded,
    SpeechStarted,
    Started,
    Ticked,
    Tone,
    Unclear,
)
from prompter.flow.machine import FlowMachine, View
from prompter.flow.table import Table
from prompter.hear.decision import may_ask_back, may_read_back
from prompter.hear.hearing import Heard, Hearing, SpeechOnset, SpeechOver, SpeechSuspected
from prompter.hear.noise_level import NoiseLevel
from prompter.replay import as_line
from prompter.speak.loudness import USUAL_DB, Limits, gain_db
from prompter.speak.mixer import Beat, Mixer, PromptCut, PromptEndedAt, PromptStarted

CARE_ROLES = frozenset({"care", "question", "helper", "notice", "echo"})


class Sink(Protocol):
    """Where events are journalled."""

    def append(self, record: dict[str, Any], at: datetime, mono_ms: int) -> Any: ...


class Watcher(Protocol):
    """Who looks on: a terminal, a screen, a rehearsal. May not change anything."""

    def feeding(self, event: Record) -> None:
        """Before the machine takes an event."""

    def fed(self, event: Record, cues: list[Record]) -> None:
        """After it, before the cues are carried out."""

    def saw(self, record: dict[str, Any]) -> None:
        """Everything that is journalled, with its `at_ms`."""


@dataclass(frozen=True)
class Timing:
    """`began`: wall clock at session time 0. `sound_ms`: mixer sample position to session ms."""

    began: datetime
    sound_ms: Callable[[int], int]

    def wall(self, at_ms: int) -> datetime:
        return self.began + timedelta(milliseconds=at_ms)


class Session:
    """Feeds the machine, carries out its cues, and journals both. Not thread-safe: one runner."""

    def __init__(
        self,
        table: Table,
        mixer: Mixer,
        timing: Timing,
        journal: Sink | None = None,
        hearing: Hearing | None = None,
        watchers: tuple[Watcher, ...] = (),
        machine: FlowMachine | None = None,
        keep_sound: Callable[[int, np.ndarray], dict[str, str] | None] | None = None,
        loudness: Limits | None = None,
    ) -> None:
        self.machine = machine or FlowMachine(table)
        self.mixer, self.timing, self.hearing = mixer, timing, hearing
        self._journal, self._watchers = journal, watchers
        self._keep_sound = keep_sound
        self._last_ms = 0
        self._expected: object = None
        self._on_speaker = False
        self._speaking_since: int | None = None
        self._suspected_ms: int | None = None
        self._spoken_db = 0.0  # the gain that was journalled last
        self._noise, self._loudness = NoiseLevel(), loudness
        self._utterances = 0
        self._announced = 0

    # ---- what the runner calls -------------------------------------------------------------------

    def start(self, at_ms: int = 0) -> None:
        """The emergency begins: the first prompt is on its way when this returns."""
        self._feed(Started(at_ms))

    def resume(self, at_ms: int, gap_ms: int | None, utterances: int = 0, announced: int = 0) -> None:
        """An emergency that was interrupted goes on; its `machine` was rebuilt from the journal.

        `gap_ms`: see `Resumed`. `utterances`, `announced`: how many there were before.
        """
        self._utterances, self._announced = utterances, announced
        self._feed(Resumed(at_ms, gap_ms))

    def go_on(self, at_ms: int, gap_ms: int) -> None:
        """The program stood still for `gap_ms`, up to now: nobody was prompted, nobody was silent."""
        self._speaking_since = None
        self._feed(Resumed(self._not_before(at_ms), gap_ms))

    def hear_block(self, block: np.ndarray, at_ms: int, own_db: float = limits.QUIET_DB, way_db: float | None = None) -> None:
        """float32[512], mono, 16 kHz, that ended at `at_ms`; up to the level `own_db` (dB of full scale)
        it may be what is left of the prompter's own voice. `way_db`: by how much louder than it is
        played the microphone hears it, if that is known."""
        self._adapt(block, at_ms, own_db, way_db)
        if self.hearing is None:
            return
        self._say_what_is_expected()
        for report in self.hearing.push(block, at_ms, own_db):
            if isinstance(report, Heard):
                self._heard(report)
            elif isinstance(report, SpeechSuspected):
                if self.mixer.give_way():
                    self._suspected_ms = report.at_ms
            elif isinstance(report, SpeechOnset):
                self._speaking_since = report.at_ms
                self._suspected_ms = None
                self.mixer.give_way()
                self._feed(SpeechStarted(self._not_before(report.at_ms)))
            elif isinstance(report, SpeechOver) and not self.hearing.waiting:
                self._speech_over(report.at_ms)
        if self._suspected_ms is not None and at_ms >= self._suspected_ms + limits.SUSPECTED_MS:
            self._suspected_ms = None
            self.mixer.go_on()
        for trouble in self.hearing.trouble():
            self.fault("ear", trouble, at_ms)
        for name, why in self.hearing.spared():
            self.note({"kind": "fault", "part": f"ear {name}", "detail": why}, at_ms)
        for name in self.hearing.regained():
            self.recovered(f"ear {name}", at_ms)

    def _adapt(self, block: np.ndarray, at_ms: int, own_db: float, way_db: float | None) -> None:
        """Prompts are as loud as the room asks for, within the plan's limits."""
        speaking = self.mixer.speaking
        self._noise.push(block, own_db, speaking)
        if self._loudness is None or speaking:
            return
        noise_db = self._noise.db
        heard_db = None if way_db is None else way_db + USUAL_DB
        found_db = gain_db(noise_db, heard_db, self._spoken_db, self._loudness)
        if found_db != self.mixer.speech_db and noise_db is not None:
            self.mixer.speech_db = found_db

    def press(self, key: str, at_ms: int) -> bool:
        """A key stands for one answer; False if it means nothing here."""
        view = self.machine.view()
        for name, answer, wording in (*view.own_keys, *view.everywhere_keys):
            if name == key:
                self.answer(answer, wording, at_ms)
                return True
        return False

    def answer(self, answer: str, wording: str, at_ms: int) -> None:
        """An answer that did not come by voice."""
        self._feed(Answered(self._not_before(at_ms), answer, wording, "keyed"))

    def number(self, quantity: str, value: int, at_ms: int) -> None:
        """A number that did not come by voice."""
        self._feed(Numbered(self._not_before(at_ms), quantity, value, "keyed"))

    def fault(self, part: str, detail: str, at_ms: int) -> None:
        """A part was lost; the session goes on without it."""
        self._feed(Failed(self._not_before(at_ms), part, detail))

    def recovered(self, part: str, at_ms: int) -> None:
        """A lost part is back."""
        self._feed(Recovered(self._not_before(at_ms), part))

    def turn(self, at_ms: int) -> None:
        """Takes what the mixer has played, and lets deadlines pass."""
        at_ms = self._not_before(at_ms)
        for report in self.mixer.take_reports():
            self._played(report, at_ms)
        due = self.machine.next_deadline_ms()
        if due is not None and due <= at_ms:
            self._feed(Ticked(at_ms))
        self._last_ms = at_ms

    def listen_with(self, hearing: Hearing | None) -> None:
        """Ears that came (or came back) while it went on; None: keys alone."""
        self.hearing, self._expected = hearing, None

    def announce(self, text: str, at_ms: int) -> None:
        """Speaks something of the program's own, beside the flow: it is no cue of the machine's."""
        self._announced += 1
        say = Say(self._not_before(at_ms), -self._announced, text, "notice", self.machine.step)
        self._record({**say.to_record(), "kind": "announced"}, say.at_ms)
        self.mixer.enqueue(say)

    def end(self, at_ms: int, why: str) -> None:
        """The runner stops: the journal's last line, unless the flow was closed in words."""
        if not self.machine.closed:
            self._record({"kind": "closed", "outcome": self.machine.outcome, "why": why}, self._not_before(at_ms))

    def note(self, record: dict[str, Any], at_ms: int) -> None:
        """Journals something that is neither event nor cue, such as a changed setting."""
        self._record(record, at_ms)

    @property
    def closed(self) -> bool:
        return self.machine.closed

    def view(self) -> View:
        """What a screen shows."""
        return self.machine.view()

    # ---- heard -----------------------------------------------------------------------------------

    def _say_what_is_expected(self) -> None:
        phrases, on_speaker = self.machine.phrases(), self.machine.call.step == "on speaker"
        if self.hearing is not None and (phrases is not self._expected or on_speaker != self._on_speaker):
            self._expected, self._on_speaker = phrases, on_speaker
            self.hearing.expect(phrases, self.machine.asks_number, on_speaker)

    def _heard(self, heard: Heard) -> None:
        at_ms = self._not_before(heard.at_ms)
        self._utterances += 1
        kept = self._keep_sound(self._utterances, heard.sound) if self._keep_sound else None
        self._record(_heard_record(heard, self.machine.step, kept or {"sound": None}), at_ms)
        event = self._event_of(heard, at_ms)
        if event is not None:
            self._feed(event)
        self._speech_over(at_ms)

    def _event_of(self, heard: Heard, at_ms: int) -> Record | None:
        if heard.number is not None and (heard.believed or heard.why == "number out of range"):
            quantity, value = heard.number
            return Numbered(at_ms, quantity, value, "spoken", heard.score)
        if heard.believed and heard.heard is not None:
            return Answered(at_ms, heard.heard.answer, heard.heard.text, "spoken", heard.score)
        if heard.why == "no words":
            return None  # a noise, not somebody who was not understood
        if heard.number is not None and (heard.score or 0) > 0:
            quantity, value = heard.number
            return Unclear(at_ms, str(value), None, heard.score, quantity, value, may_read_back(heard.score, heard.lead))
        if heard.heard is None:
            return Unclear(at_ms, None, None, heard.score)
        # Asked back by name; otherwise the question is repeated.
        near = may_ask_back(heard.heard, heard.score, heard.margin, heard.text)
        return Unclear(at_ms, heard.heard.text, heard.heard.answer if near else None, heard.score)

    def _speech_over(self, at_ms: int) -> None:
        self.mixer.go_on()
        if self._speaking_since is not None:
            self._speaking_since = None
            self._feed(SpeechEnded(self._not_before(at_ms)))

    # ---- played ----------------------------------------------------------------------------------

    def _played(self, report: PromptStarted | PromptEndedAt | PromptCut | Beat, at_ms: int) -> None:
        sound_ms = self.timing.sound_ms(report.position)
        if report.cue < 0 and isinstance(report, PromptEndedAt):
            return  # an announcement: the machine knows nothing of it
        if isinstance(report, PromptEndedAt):
            self._feed(PromptEnded(at_ms, report.cue, report.cut))
        elif isinstance(report, PromptCut):
            # The machine goes on waiting for its end: it is said again.
            self._record({"kind": "prompt cut", "cue": report.cue, "sound_ms": sound_ms}, at_ms)
        elif isinstance(report, PromptStarted):
            self._record({"kind": "prompt started", "cue": report.cue, "sound_ms": sound_ms, "voiced": report.voiced}, at_ms)
            if not report.voiced:
                self._feed(Failed(at_ms, "voice", f"cue {report.cue} is shown, not spoken"))
        else:
            what = {"breath": "breaths", "push": "pushes", "tick": "suction"}[report.what]
            self._record({"kind": "beat", "cue": report.cue, "what": what, "index": report.index, "sound_ms": sound_ms}, at_ms)

    # ---- the machine -------------------------------------------------------------------------------

    def _feed(self, event: Record) -> None:
        for watcher in self._watchers:
            watcher.feeding(event)
        cues = self.machine.feed(event)
        for watcher in self._watchers:
            watcher.fed(event, cues)
        self._last_ms = max(self._last_ms, event.at_ms)
        if cues or not isinstance(event, Ticked):
            self._record(event.to_record(), event.at_ms)
        self._make_way(event, cues)
        if isinstance(event, Unclear) and any(isinstance(cue, Say) and cue.role == "question" for cue in cues):
            self.mixer.drop_queued({"question"})  # it gave way to this, and is asked anew
        for cue in cues:
            self._record(cue.to_record(), event.at_ms)
            if isinstance(cue, Say | Tone | Pace):
                self._note_loudness(event.at_ms)
                self.mixer.enqueue(cue)
            elif isinstance(cue, PaceStopped):
                self.mixer.stop_pace()

    def _note_loudness(self, at_ms: int) -> None:
        if self.mixer.speech_db != self._spoken_db:
            self._spoken_db = self.mixer.speech_db
            noise_db = self._noise.db
            self._record(
                {"kind": "loudness", "gain_db": self._spoken_db, "noise_db": None if noise_db is None else round(noise_db, 1)}, at_ms
            )

    def _make_way(self, event: Record, cues: list[Record]) -> None:
        """A step was left: what it still wanted to say is out of date."""
        if not any(isinstance(cue, Moved) and cue.machine == "care" for cue in cues):
            return
        if isinstance(event, Answered | Numbered | Unclear):
            self.mixer.hush()  # somebody waits for the answer to what they said
        else:
            self.mixer.drop_queued(CARE_ROLES)

    def _not_before(self, at_ms: int) -> int:
        return max(at_ms, self._last_ms)

    def _record(self, record: dict[str, Any], at_ms: int) -> None:
        for watcher in self._watchers:
            watcher.saw({**record, "at_ms": at_ms})
        if self._journal is not None:
            self._journal.append(as_line(record, at_ms), self.timing.wall(at_ms), at_ms)


def _heard_record(heard: Heard, step: str, kept: dict[str, Any]) -> dict[str, Any]:
    def rounded(value: float | None) -> float | None:
        return None if value is None else round(float(value), 3)

    return {
        "kind": "heard", "step": step, "onset_ms": heard.onset_ms, "ended_ms": heard.ended_ms,
        "heard": heard.heard.text if heard.heard else None,
        "answer": heard.heard.answer if heard.heard else None,
        "believed": heard.believed, "score": rounded(heard.score), "margin": rounded(heard.margin),
        "runner_up": heard.runner_up, "text": heard.text, "why": heard.why, "window": heard.window,
        "number": list(heard.number) if heard.number else None,
        "decide_ms": heard.decide_ms, "ears": list(heard.ears), **kept,
    }  # fmt: skip


