"""The one thread that runs the session: takes sound, keys and faults in, and lets time pass.

Everything else (sound card, keys, ears, screen, disk) lives in threads of its own and reaches the
runner through its inbox. A part that fails is reported, announced and worked around; what remains
goes on. Only an error of the session itself leaves `run`.
"""

import queue
import time
from collections.abc import Callable
from traceback import walk_tb
from typing import Any, Protocol

import numpy as np

from prompter import limits
from prompter.care.plan import Plan
from prompter.live import notices
from prompter.live.clock import BlockClock, HeardAt, LiveClock
from prompter.live.own_echo import OwnEcho
from prompter.live.panels import panel
from prompter.live.pressing import Pressing
from prompter.live.shown import Shown
from prompter.resuming import TakenUp
from prompter.session import Session
from prompter.speak.loudspeaker import NullLoudspeaker, Output

_BLOCK_MS = 1000 * limits.BLOCK_SAMPLES / limits.SAMPLE_RATE_HZ


class Card(Protocol):
    """What opens devices (a `SoundCard`)."""

    def lost(self, part: str) -> None: ...


class Picture(Protocol):
    """What shows (a `Screen`)."""

    def show(self, shown: Shown) -> None: ...
    def lose(self, why: str) -> None: ...


class Runner:
    """`listens`: a microphone and an ear are expected. `first_notices`: said after the first prompt."""

    def __init__(
        self,
        session: Session,
        clock: LiveClock,
        heard_at: HeardAt,
        own_echo: OwnEcho,
        inbox: "queue.SimpleQueue[tuple[str, Any]] | queue.Queue[tuple[str, Any]]",
        card: Card,
        screen: Picture,
        listens: bool,
        plan_state: str,
        load_ears: Callable[[], None],
        first_notices: tuple[tuple[str, str, str], ...] = (),
        goes_on: TakenUp | None = None,
        plan: Plan | None = None,
    ) -> None:
        answers = session.machine.table.flow.answers
        letters = {body.key: name for name, body in answers.items() if body.key}
        self.session, self.pressing = session, Pressing(session, letters)
        self.output: Output | None = None
        self.microphone: Any = None
        self.abandoned = False
        self.turned_s = time.monotonic()
        self._clock, self._heard_at, self._inbox = clock, heard_at, inbox
        self._card, self._screen = card, screen
        self._first_notices, self._load_ears = first_notices, load_ears
        self._goes_on, self._plan = goes_on, plan
        self._reloads, self._reloaded_s = 0, 0.0
        self._look_for = ""
        self._own_echo = own_echo
        self._blocks = BlockClock(_BLOCK_MS, limits.BLOCK_JUMP_MS)
        self._sound_s = self._watched_s = time.monotonic()
        self._lost: dict[str, str] = {}
        self._early: list[tuple[str, Any]] = []
        self._closing = ""
        self._heard = ""
        self._underflows = self._overflows = 0
        self._states = {
            "plan": plan_state,
            "microphone": "being opened" if listens else "not used: keys only",
            "ear": "being loaded" if listens else "not used: keys only",
            "sound": "being opened",
        }

    def first(self, message: tuple[str, Any]) -> None:
        """Takes a message that came before the run began."""
        self._early.append(message)

    # ---- the loop --------------------------------------------------------------------------------

    def run(self) -> None:
        """Until the emergency is closed. Raises whatever the session itself raises."""
        early = [message for message in self._early if message[0] != "loudspeaker"]
        for message in self._early:
            if message not in early:
                self._take(*message)
        self._ensure_output()
        self._begin()
        for message in early:
            self._take(*message)
        for part, detail, text in self._first_notices:
            self.session.fault(part, detail, self._clock.now_ms())
            self._announce(text)
        while not self.over:
            self.turn()
        self.session.end(self._clock.now_ms(), self._closing)

    def _look_for_gap(self) -> None:
        """After a sleep (or a machine that held the program up): nobody was prompted meanwhile, so
        nobody was silent. What was being said is out of date; the step begins anew."""
        gap_ms = self._clock.stood_still_ms()
        if gap_ms:
            self._sound_s = self._watched_s = time.monotonic()  # the devices have slept too
            self.session.mixer.hush(keep_pace=False)
            self.session.go_on(self._clock.now_ms(), gap_ms)
            self.pressing.notice = f"It stood still for {gap_ms // 1000} s and goes on."

    def _begin(self) -> None:
        self._clock.stood_still_ms()  # what came before was the start
        now_ms, before = self._clock.now_ms(), self._goes_on
        if before is None:
            self.session.start(now_ms)
        else:
            gap_ms = None if before.gap_ms is None else now_ms - before.last_ms
            self.session.resume(now_ms, gap_ms, before.utterances, before.announced)
            known = "It had stopped" if gap_ms is None else f"It had stopped for {gap_ms // 1000} s"
            self.pressing.notice = f"{known} and goes on. Another emergency? Close it and start again."

    @property
    def over(self) -> bool:
        return bool(self._closing) or self.session.closed or self.abandoned

    def turn(self) -> None:
        """Waits a moment for sound or a key, and takes what came."""
        self._listen()
        self._take_inbox(wait=self.microphone is None)
        self._look_for_gap()
        now_ms = self._clock.now_ms()
        self.session.turn(now_ms)
        if self._look_for:
            self._let_look()
        if time.monotonic() - self._watched_s >= limits.WATCH_S:
            self._watched_s = time.monotonic()
            self._watch(now_ms)
        self._screen.show(self._picture())
        self.turned_s = time.monotonic()

    def saw(self, record: dict[str, Any]) -> None:
        """Looks on for the screen (a `Watcher` of the session)."""
        if record["kind"] == "heard":
            said = record["heard"] or (record["number"] and str(record["number"][1])) or ""
            sure = "" if record["believed"] else " (not sure)"
            self._heard = f"{said}{sure}" if said else "not understood"
        elif record["kind"] == "answered" and record["how"] == "keyed":
            self._heard = f"{record['wording']} (key)"
        elif record["kind"] == "failed" and record["part"] == "ear" and "ear" not in self._lost:
            self._inbox.put(("ear failed", record["detail"]))

    def _listen(self) -> None:
        microphone = self.microphone
        if microphone is None:
            return
        block = microphone.read(2 * limits.TURN_S)
        self._look_for_gap()
        now_ms = self._clock.now_ms()
        if block is None:
            return
        self._sound_s = time.monotonic()
        at_ms = self._blocks.ended_at(now_ms)
        speaking = self.session.mixer.speaking
        block, own_db = self._own_echo.cleaned(block, at_ms, speaking, self._heard_at.latency_ms)
        self._hear(block, at_ms, own_db)

    def _hear(self, block: np.ndarray, at_ms: int, own_db: float) -> None:
        try:
            self.session.hear_block(block, at_ms, own_db, self._own_echo.way_db)
        except Exception as error:
            if not _from_hearing(error):
                raise
            self.session.listen_with(None)
            self.session.fault("ear", f"{type(error).__name__}: {error}", at_ms)

    def _take_inbox(self, wait: bool) -> None:
        try:
            item = self._inbox.get(timeout=limits.TURN_S) if wait else self._inbox.get_nowait()
            self._look_for_gap()
            while True:
                self._take(*item)
                item = self._inbox.get_nowait()
        except queue.Empty:
            return

    def _take(self, what: str, value: Any) -> None:
        if what == "key":
            self.pressing.key(value, self._clock.now_ms())
            if self.pressing.closes:
                self._closing = "ctrl-c"
            elif value == "ctrl-c":
                self._announce(notices.CLOSE_AGAIN)
        elif what == "close":
            self._closing = value
        elif what == "loudspeaker":
            self._play_on(value)
        elif what == "microphone":
            self._listen_to(value)
        elif what == "ear":
            self.session.listen_with(value)
            self._back("ear", "ready")
        elif what == "ear failed":
            self._ear_failed(value)
        elif what in ("no loudspeaker", "no microphone", "no ear", "no keys"):
            self._fault(what.removeprefix("no "), value)
        elif what == "one ear":
            name, text = value
            self.session.note({"kind": "fault", "part": f"ear {name}", "detail": text}, self._clock.now_ms())
        elif what == "disk":
            self._disk(value)
        elif what == "look again":
            self._look_for = value
        elif what == "other device":
            part, text = value
            self.session.note({"kind": "fault", "part": part, "detail": text}, self._clock.now_ms())
            self.pressing.notice = f"{part}: {text}"
        elif what == "late":
            seq, waited_ms = value
            self.session.note({"kind": "written late", "event": seq, "waited_ms": waited_ms}, self._clock.now_ms())
        elif what == "no screen":
            self._fault("screen", value)
        elif what == "screen gone":
            self._screen.lose(value)

    # ---- parts that come, go and come back -------------------------------------------------------

    def _ensure_output(self) -> None:
        """Something must pull the mixer, or the prompts would neither begin nor end."""
        if self.output is None:
            self.output = NullLoudspeaker(self.session.mixer, self._heard_at.tap)
            self._heard_at.latency_ms = 0.0
            self.output.start()

    def _play_on(self, output: Output) -> None:
        before, self.output = self.output, output
        self._heard_at.latency_ms = output.latency_ms
        self._own_echo.changed()
        if before is not None:
            before.stop()
        self._underflows = 0
        self._back("loudspeaker", "on")

    def _listen_to(self, microphone: Any) -> None:
        self.microphone, self._sound_s = microphone, time.monotonic()
        self._own_echo.changed()
        self._blocks = BlockClock(_BLOCK_MS, limits.BLOCK_JUMP_MS)
        self._overflows = 0
        self._back("microphone", "listening")

    def _let_look(self) -> None:
        """Closes the device that works, so that a new one can be found: the microphone at once, the
        loudspeaker only where nothing sounds for a while. The sound card's thread opens both again."""
        missing, output = self._look_for, self.output
        if missing == "loudspeaker":
            self._look_for = ""
            if self.microphone is not None:
                self.microphone.close()
                self.microphone = None
                self._card.lost("microphone")
        elif missing == "microphone" and output is not None:
            quiet_ms = self.session.mixer.quiet_for_ms()
            if self.microphone is not None or isinstance(output, NullLoudspeaker):
                self._look_for = ""
            elif quiet_ms is None or quiet_ms >= limits.LOOK_AGAIN_QUIET_MS:
                self._look_for = ""
                output.stop()
                self.output = None
                self._ensure_output()
                self._card.lost("loudspeaker")

    def _watch(self, now_ms: int) -> None:
        output, microphone = self.output, self.microphone
        why = output.failed() if output is not None else "there is none"
        if why and output is not None:
            output.stop()
            self.output = None
            self._ensure_output()
            if not isinstance(output, NullLoudspeaker):
                self._card.lost("loudspeaker")
                self._fault("loudspeaker", why)
        if microphone is not None:
            trouble = microphone.trouble()
            if time.monotonic() - self._sound_s > limits.MICROPHONE_LOST_S:
                trouble.append("the microphone gives no sound")
            if trouble:
                self.microphone = None
                microphone.close()
                self._card.lost("microphone")
                self._fault("microphone", trouble[0])
        if "ear" in self._lost and time.monotonic() - self._reloaded_s > limits.EAR_RETRY_S:
            self._reload_ears()
        self._count_losses(now_ms)
        if changed_ms := self._clock.changed_ms():
            self.session.note({"kind": "clock changed", "by_ms": changed_ms}, now_ms)

    def _count_losses(self, now_ms: int) -> None:
        """Sound lost on the way belongs into the record: it explains what was not heard."""
        underflows = self.output.underflows if self.output else 0
        overflows = self.microphone.overflows if self.microphone else 0
        if underflows > self._underflows or overflows > self._overflows:
            self.session.note(
                {"kind": "sound lost", "played_late": underflows, "not_heard": overflows}, now_ms
            )
        self._underflows, self._overflows = underflows, overflows

    def _ear_failed(self, detail: str) -> None:
        """The session has reported it already; ears are loaded anew."""
        if "ear" in self._lost:
            return
        self._lost["ear"], self._states["ear"] = detail, "MISSING"
        self.pressing.notice = f"ear: {detail}"
        self._announce(notices.LOST["ear"])
        self._reload_ears()

    def _reload_ears(self) -> None:
        if self._reloads < limits.EAR_RELOADS_MAX:
            self._reloads, self._reloaded_s = self._reloads + 1, time.monotonic()
            self._load_ears()

    def _disk(self, trouble: str) -> None:
        if trouble:
            self._fault("disk", trouble)
        else:
            self._back("disk", "")

    def _fault(self, part: str, detail: str) -> None:
        if self._lost.get(part) == detail:
            return
        new = part not in self._lost
        self._lost[part] = detail
        self._states[_SHOWN_AS.get(part, part)] = "MISSING"
        self.session.fault(part, detail, self._clock.now_ms())
        if new:
            self.pressing.notice = f"{part}: {detail}"
            self._announce(notices.LOST.get(part, ""))

    def _back(self, part: str, state: str) -> None:
        self._states[_SHOWN_AS.get(part, part)] = state
        if self._lost.pop(part, None) is not None:
            self.session.recovered(part, self._clock.now_ms())
            self._announce(notices.BACK.get(part, ""))

    def _announce(self, text: str) -> None:
        if text:
            self.session.announce(text, self._clock.now_ms())

    # ---- the picture -----------------------------------------------------------------------------

    def _picture(self) -> Shown:
        view = self.session.view()
        number = f"{view.spo2} percent" if view.spo2 is not None else ""
        parts = [("call", view.call), *self._states.items(), ("oxygen number", number)]
        more = view.everywhere_keys
        if view.crew:  # what the crew brings stands first: there is less room now
            more = tuple(sorted(more, key=lambda key: key[1] not in ("taken over", "tell them")))
        return Shown(
            title=view.title,
            prompt=view.prompt,
            own_keys=tuple((key, wording) for key, _, wording in view.own_keys),
            more_keys=tuple((key, wording) for key, _, wording in more),
            parts=tuple((name, state) for name, state in parts if state),
            heard=self._heard,
            notice=self.pressing.notice,
            typed=self.pressing.typed,
            panel=panel(view, self._plan, self._clock.now_ms()),
        )


_SHOWN_AS = {"loudspeaker": "sound", "disk": "record"}


def _from_hearing(error: BaseException) -> bool:
    """Whether the error arose in the hearing room, and not in the flow that the answer led into."""
    modules = (frame.f_globals.get("__name__", "") for frame, _ in walk_tb(error.__traceback__))
    return any(module.startswith("prompter.hear.") for module in modules)
