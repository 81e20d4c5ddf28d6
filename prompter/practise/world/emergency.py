"""One simulated emergency with the real flow machine: prompts go to people, what they say comes back."""

from collections.abc import Callable
from random import Random

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
    Say,
    SpeechEnded,
    SpeechStarted,
    Started,
    Ticked,
    Tone,
    Unclear,
)
from prompter.limits import JOURNAL_WAIT_MS
from prompter.practise.world.case import draw
from prompter.practise.world.eyes import Eyes
from prompter.practise.world.faults import Fault, draw_faults
from prompter.practise.world.hands import Hands
from prompter.practise.world.hearing import HearingModel
from prompter.practise.world.judge import SPOKEN, Judge
from prompter.practise.world.laid_out import LaidOut
from prompter.practise.world.loudspeaker import NEVER, Loudspeaker
from prompter.practise.world.outcome import Outcome, outcome_of
from prompter.practise.world.parameters import Parameters
from prompter.practise.world.person import Person, Spoken
from prompter.practise.world.phone import Phone
from prompter.practise.world.timeline import Timeline
from prompter.practise.world.understanding import meaning_of
from prompter.proof.forking import RememberingMachine

LIMIT_MS = 20 * 60_000
"""A run is looked at for twenty minutes."""

EVENTS_MOST = 20_000
"""A run with more events does not come to rest."""

_PASSING = (Ticked, PromptEnded, SpeechStarted, SpeechEnded)
_HEARD = (Say, Tone, Pace)
WELL_MS = 30_000
UTTERANCE_MS = 900
WATCH_MS = 2_000
HAND_OVER_MS = 180_000
"""From the crew's arrival to the flow's hand-over, at the latest."""

TAKEN_OVER_EVERY_MS = 8_000
WATCHING = frozenset({"watch", "no-tube-watch", "settle", "bag-or-vent"})
CARE_ROLES = frozenset({"care", "question", "helper", "notice", "echo"})
Note = Callable[[int, str, str], None]


class Emergency:
    """Made for one seed; `run` plays it once."""

    def __init__(self, seed: int, laid_out: LaidOut, p: Parameters, note: Note | None = None) -> None:
        self.p, self._laid_out = p, laid_out
        self.case = draw(seed, p)
        self.rng = Random(f"{seed} flow")
        self.timeline = Timeline()
        self._note = note
        self.machine = RememberingMachine(laid_out.table, laid_out.engine)
        self.speaker = Loudspeaker(self)
        self.hands = Hands(self.case, p, self.rng)
        eyes = Eyes(self.hands, p, self.rng, laid_out.oximeter, self.case.panic)
        self.person = Person(self.case, self.hands, eyes, p, self.rng, self.timeline, self._says, self.note)
        self.phone = Phone(self.case, p, self.rng, self.timeline, self._on_the_line, self._crew, self._no_phone)
        self.hearing = HearingModel(p, self.rng)
        self.judge = Judge(self.machine, eyes, laid_out)
        self._lost: set[str] = set()
        self._offset_ms = self._last_ms = self.events = 0
        self._due = NEVER
        self._speech_free_at = 0
        self._well_since: int | None = None
        self._ended: str | None = None
        self._crew_ms: int | None = None
        self._handed_over_ms: int | None = None
        self.call_asked_ms: int | None = None

    def note(self, who: str, what: str) -> None:
        if self._note is not None:
            self._note(self.timeline.now, who, what)

    # ---- the run

    def run(self) -> Outcome:
        """Never raises for what the flow does: that becomes the outcome's failure."""
        try:
            self._play()
        except Exception as error:  # noqa: BLE001 - whatever the core raises is a finding
            self.judge.fail(f"{type(error).__name__}: {error}")
            self.note("FAILURE", self.judge.failures[-1])
        if self._crew_ms is None:
            self.case.patient.advance(self.timeline.now)
        return outcome_of(self, self._ended or "still going on")

    def _play(self) -> None:
        self._feed(Started(0))
        timeline, speaker = self.timeline, self.speaker
        timeline.after(1000, self.person.look)
        timeline.after(WATCH_MS, self._watch)
        self._plan_talk()
        for fault in draw_faults(self.case.seed, self.p):
            timeline.after(fault.at_ms, self._break, fault)
        while self._ended is None:
            world, spoken, due = timeline.next_at, speaker.next_at, self._due
            at = world if world <= spoken else spoken
            if due < at:
                at = due
            if at > LIMIT_MS:
                break
            if at > timeline.now:
                timeline.now = at
            if world <= at:
                timeline.step()
            elif spoken <= at:
                speaker.step(timeline.now)
            else:
                self._feed(Ticked(self._session_ms()))
            if self.events > EVENTS_MOST:
                self.judge.fail(f"more than {EVENTS_MOST} events: it does not come to rest")
                break

    def _session_ms(self) -> int:
        self._last_ms = max(self._last_ms, self.timeline.now + self._offset_ms)
        return self._last_ms

    def _feed(self, event: Record, spoken: Spoken | None = None) -> None:
        self.events += 1
        self.judge.before(event)
        cues = self.machine.feed(event)
        if self._note is not None and not isinstance(event, _PASSING):
            self.note("ear", _shown(event))
        if cues:
            self._make_way(event, cues)
            for cue in cues:
                self._carry_out(cue)
        self.judge.beating = self.speaker.paced in ("breaths", "pushes")
        self.judge.after(event, cues, spoken)
        due = self.machine.next_deadline_ms()
        self._due = NEVER if due is None else max(self.timeline.now, due - self._offset_ms)
        if self.machine.closed:
            self._ended = "handed over" if self.machine.outcome == "handed over" else "closed"

    def _make_way(self, event: Record, cues: list[Record]) -> None:
        if any(isinstance(cue, Moved) and cue.machine == "care" for cue in cues):
            if isinstance(event, SPOKEN):
                self.speaker.hush(self.timeline.now)
            else:
                self.speaker.drop_queued(CARE_ROLES, self.timeline.now)

    def _carry_out(self, cue: Record) -> None:
        if isinstance(cue, _HEARD):
            self.speaker.enqueue(cue, self.timeline.now)
            if isinstance(cue, Say) and cue.role == "call" and self.call_asked_ms is None:
                self.call_asked_ms = self.timeline.now
        elif isinstance(cue, PaceStopped):
            self.speaker.stop_pace(self.timeline.now)
        elif isinstance(cue, Moved) and cue.machine == "care":
            self.note("flow", f"{cue.source} → {cue.target}  ({cue.how}{', ' + cue.answer if cue.answer else ''})")
            if cue.target == "handed-over":
                self._handed_over_ms = self.timeline.now
                self._ended = "handed over"

    # ---- played

    def ended(self, cue: int, cut: bool) -> None:
        if "loudspeaker" not in self._lost:
            self._feed(PromptEnded(self._session_ms(), cue, cut))

    def heard(self, say: Say) -> None:
        self.judge.heard(say.text, self._session_ms())
        lost = "loudspeaker" in self._lost or "voice" in self._lost
        if lost and self.rng.random() >= self.p["faults.screen_read"]:
            self.note("prompter", f"[not heard] {say.text}")
            return
        self.note("prompter", say.text)
        meaning = meaning_of(say.text)
        if meaning is None:
            self.judge.not_understood.add(say.text)
        elif meaning.sort == "call":
            self.phone.asked()
        elif meaning.sort == "echo":
            self._hears_read_back(say.text)
        elif meaning.sort == "key":
            self._asked_for_a_key()
        elif say.role == "helper" and meaning.sort == "do":
            self._helper_does(meaning.what)
        else:
            self.person.told(meaning)

    def breath_tone(self) -> None:
        self.judge.breath_asked(self._session_ms())
        if "loudspeaker" not in self._lost:
            self.person.breath_tone()

    def _hears_read_back(self, text: str) -> None:
        said, table = self.judge.last_said, self.machine.table
        if said in table.flow.answers and text != table.heard(said) and self.judge.last_believed not in (None, said):
            self.person.misheard()

    def _helper_does(self, action: str) -> None:
        if self.case.helper:
            self.timeline.after(self.hands.lasts_ms(action), self._helper_did, action)

    def _helper_did(self, action: str) -> None:
        self.hands.finish(action, self.timeline.now)
        self.note("helper", action)

    # ---- said

    def _says(self, spoken: Spoken) -> None:
        """Begins when the mouth is free and, mostly, when the prompter has finished its clip."""
        now = self.timeline.now
        wait = max(0, self._speech_free_at - now)
        if self.speaker.speaking and self.rng.random() < self.p["person.waits_for_voice"]:
            wait = max(wait, self.speaker.free_at - now + 100)
        lasts = int(UTTERANCE_MS * self.rng.lognormvariate(0, 0.3))
        self._speech_free_at = now + wait + lasts + 200
        self.timeline.after(wait, self._speech_begins, spoken, lasts)

    def _speech_begins(self, spoken: Spoken | None, lasts: int) -> None:
        if spoken is not None:
            self.note("caregiver", f"“{spoken.answer}”" + ("" if spoken.truth == spoken.answer else f"  (truth: {spoken.truth})"))
            self.judge.said(spoken)
        if "ear" in self._lost:
            return
        if self.speaker.speaking and self.rng.random() >= self.p["hearing.over_prompt"]:
            self.note("ear", "(spoken over the prompter's voice: lost)")
            return
        self._feed(SpeechStarted(self._session_ms()))
        self.timeline.after(lasts + 1000 * self.p["hearing.reply_s"], self._speech_ends, spoken)

    def _speech_ends(self, spoken: Spoken | None) -> None:
        at, allowed = self._session_ms(), self._laid_out.allowed(self.machine)
        if spoken is None:
            event = self.hearing.talk(allowed, at)
        elif spoken.answer.startswith("number "):
            event = self.hearing.number(int(spoken.answer.split()[1]), at)
        else:
            event = self.hearing.answer(spoken.answer, allowed, at)
        self._feed(event, spoken)
        self._feed(SpeechEnded(self._session_ms()))

    def _asked_for_a_key(self) -> None:
        spoken = self.judge.last_spoken
        if spoken is None or self.case.silent or self.rng.random() >= self.p["person.presses_key"]:
            return
        self.timeline.after(2_500, self._presses, spoken)

    def _presses(self, spoken: Spoken) -> None:
        if spoken.answer in self._laid_out.allowed(self.machine):
            self._feed(Answered(self._session_ms(), spoken.answer, spoken.answer, "keyed"), spoken)

    def _plan_talk(self) -> None:
        a_minute = self.p["hearing.talk_a_minute"] * (1 + self.case.helper)
        if a_minute > 0:
            self.timeline.after(60_000 * self.rng.expovariate(a_minute), self._talk)

    def _talk(self) -> None:
        if self.timeline.now >= self._speech_free_at:
            self.note("somebody else", "(talks)")
            self._speech_free_at = self.timeline.now + 2_000
            self._speech_begins(None, 1_500)
        self._plan_talk()

    # ---- the call and the crew

    def _on_the_line(self) -> None:
        self.note("phone", "the operator is on speaker")
        if self.rng.random() < self.p["call.says_on_speaker"]:
            self.person.speak(Spoken("on speaker", "on speaker"), True)

    def _no_phone(self) -> None:
        self.person.speak(Spoken("no phone", "no phone"), True)

    def _crew(self) -> None:
        self.note("crew", "at the door, and takes over")
        self.case.patient.advance(self.timeline.now)
        self._crew_ms = self.timeline.now
        self.person.case.silent = False  # the crew speaks for everybody
        self._tell_crew(0)

    def _tell_crew(self, times: int) -> None:
        now = self.timeline.now
        if now - (self._crew_ms or now) > HAND_OVER_MS:
            if not self._lost:
                self.judge.fail("the crew took over, and the flow does not hand over")
            self._ended = "handed over"
            return
        if times >= 4:
            self._feed(Answered(self._session_ms(), ("paramedics", "taken over", "taken over")[times % 3], "", "keyed"))
        else:
            answer = "paramedics" if times == 0 else "taken over"
            self._says(Spoken(answer, answer))
        self.timeline.after(TAKEN_OVER_EVERY_MS if times < 4 else 3_000, self._tell_crew, times + 1)

    # ---- the world goes on

    def _watch(self) -> None:
        """Every other second: slips, and whether all is well."""
        now, patient, air = self.timeline.now, self.case.patient, self.case.airway
        self.timeline.after(WATCH_MS, self._watch)
        if self._crew_ms is not None:
            return
        patient.advance(now)
        if air.may_slip() and self.rng.random() < self.p["airway.slips_out_a_minute"] * WATCH_MS / 60_000:
            air.pull_out()
            self.note("tube", "slips out")
        if not (patient.well() and self.machine.step in WATCHING):
            self._well_since = None
        elif self._well_since is None:
            self._well_since = now
        elif now - self._well_since >= WELL_MS:
            self._ended = "better"

    def _break(self, fault: Fault) -> None:
        self.note("fault", fault.part)
        self.judge.faults.append(fault.part)
        if fault.part == "clock":
            self._offset_ms += int(1000 * self.p["faults.jump_s"])
            self._feed(Ticked(self._session_ms()))
            return
        self._lost.add(fault.part)
        if fault.part == "disk":
            self.speaker.late_ms = JOURNAL_WAIT_MS
        self._feed(Failed(self._session_ms(), fault.part))
        self.timeline.after(fault.lasts_ms, self._mend, fault)

    def _mend(self, fault: Fault) -> None:
        self._lost.discard(fault.part)
        self.speaker.late_ms = 0 if fault.part == "disk" else self.speaker.late_ms
        self.note("fault", f"{fault.part} is back")
        self._feed(Recovered(self._session_ms(), fault.part))


def _shown(event: Record) -> str:
    if isinstance(event, Answered):
        return f"believed: {event.answer}" + (" [key]" if event.how == "keyed" else "")
    if isinstance(event, Numbered):
        return f"believed: {event.value}"
    if isinstance(event, Unclear):
        return f"in doubt: {event.answer or event.value or 'not understood'}"
    return event.kind
