"""`prompter respond`: brings one live emergency up, watches over it, and takes it down.

The first prompt comes before everything that can wait. Threads: the main one (here) waits for
signals and watches the runner; `Runner` has its own; the others belong to their modules. If the
runner fails or hangs, the last resort speaks from the main thread: never silence.
"""

import contextlib
import gc
import os
import queue
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from prompter import limits
from prompter.live import last_resort, notices
from prompter.live.clock import HeardAt, LiveClock
from prompter.live.keyboard import Keyboard
from prompter.live.memory import keep_small
from prompter.live.own_echo import OwnEcho
from prompter.live.priority import go_first
from prompter.live.screen import Screen, say_plainly
from prompter.live.shown import Shown
from prompter.live.soundcard import SoundCard
from prompter.live.voice_at_once import voice_at_once

Inbox = queue.SimpleQueue[tuple[str, Any]]


def respond(
    plan: Path | None,
    keys_only: bool,
    out: Path | None,
    microphone: str | int | None,
    loudspeaker: str | int | None,
    new: bool = False,
) -> int:
    """Runs one emergency until it is closed; the exit code: 0, or 1 if the program itself failed.

    `new`: begin at the first question even if an emergency was interrupted a moment ago.
    """
    keep_small()
    go_first()
    emergency = Emergency(plan, keys_only, out, microphone, loudspeaker, new)
    sys.setswitchinterval(limits.SWITCH_S)
    with _signals(emergency.inbox), _libraries_hushed():
        try:
            return emergency.run()
        finally:
            emergency.close()


class Emergency:
    """The parts of one live emergency, made in the order in which they are needed."""

    def __init__(
        self,
        plan: Path | None,
        keys_only: bool,
        out: Path | None,
        microphone: str | int | None,
        loudspeaker: str | int | None,
        new: bool = False,
    ) -> None:
        self.inbox: Inbox = queue.SimpleQueue()  # a signal may put while the same thread takes
        self.clock = LiveClock()
        self._plan, self._keys_only, self._out, self._new = plan, keys_only, out, new
        self._looked: Any = None
        self._heard_at = HeardAt(self.clock)
        self._own_echo = OwnEcho()
        self._card = SoundCard(self.inbox.put, self._tap, microphone, loudspeaker, not keys_only)
        self._screen = Screen(self.inbox.put)
        self._keyboard = Keyboard(self.inbox.put)
        self._runner: Any = None
        self._mixer: Any = None
        self._journal: Any = None
        self._awake: Any = None
        self._crash: BaseException | None = None
        self._seen_still = 0
        self._breaths_per_minute = last_resort.BREATHS_PER_MINUTE

    def run(self) -> int:
        try:
            self._set_up()
        except Exception as error:  # noqa: BLE001 - an incomplete installation is no reason for silence
            self._crash = error
        else:
            thread = threading.Thread(target=self._run_runner, name="runner", daemon=True)
            thread.start()
            self._start_the_rest()
            while thread.is_alive() and not self._hangs():
                thread.join(limits.WATCH_S)
            if thread.is_alive() and not self._runner.over:
                self._runner.abandoned = True
                self._crash = TimeoutError("the runner hangs")
        if self._crash is not None:
            self._last_resort(self._crash)
            return 1
        return 0

    def close(self) -> None:
        """Leaves everything as it was found. Each part may fail for itself."""
        runner = self._runner
        parts = [self._keyboard.close, self._screen.close, self._card.close]
        if runner is not None and runner.output is not None:
            parts.append(runner.output.stop)
        if runner is not None and runner.microphone is not None:
            parts.append(runner.microphone.close)
        parts += [part.stop for part in [self._awake] if part is not None]
        parts += [part.close for part in [self._journal] if part is not None]
        for part in parts:
            with contextlib.suppress(Exception):
                part()
        if self._journal is not None and self._journal.path is not None:
            say_plainly(f"The record of this emergency: {self._journal.path}")

    # ---- before the first prompt -------------------------------------------------------------------

    def _set_up(self) -> None:
        from prompter.live.preparing import every_prompt, prepare
        from prompter.speak.mixer import Mixer
        from prompter.speak.plan_voice import plan_voice

        voice, self._voice_trouble = voice_at_once()
        prepared = self._prepared = prepare(self._plan)
        self._look_for_interrupted()
        prepared = self._prepared
        self._breaths_per_minute = prepared.table.variant.numbers["breaths_per_minute"]
        folder = prepared.cache or Path(tempfile.gettempdir(), "prompter-clips")
        wanted = prepared.plan.voice.name if prepared.plan is not None else "embedded"
        self._voice = plan_voice(folder / "clips", wanted, voice, lambda: every_prompt(prepared.table))
        self._store = self._voice.clips
        rate_hz = self._card.rate_hz(limits.LOUDSPEAKER_WAIT_S)
        self._heard_at.counts_for(rate_hz)
        self._own_echo.counts_for(rate_hz)
        self._mixer = Mixer(rate_hz, self._store.clip)
        self._card.play(self._mixer)
        self._make_session(self._voice.name or None)
        with contextlib.suppress(queue.Empty):  # whatever comes first: the loudspeaker or why not
            self._runner.first(self.inbox.get(timeout=limits.LOUDSPEAKER_WAIT_S))

    def _look_for_interrupted(self) -> None:
        """An emergency that was stopped a moment ago goes on where it was."""
        from prompter.live.interrupted import look_in, sealer_of

        one = self._prepared
        self._looked = look_in([] if self._new else self._journal_folders(), one)
        self._sealer, self._key_trouble = sealer_of(self._looked.found)
        if self._looked.held:
            self._keys_only = True  # two that listen would hear each other
        found = self._looked.found
        if found is not None:
            self._prepared = replace(one, table=found.machine.table)
            self.clock.go_on(found.last_ms + (1 if found.gap_ms is None else found.gap_ms))

    def _make_session(self, voice: str | None) -> None:
        from prompter.live.interrupted import entries_to_go_on
        from prompter.live.journalling import LiveJournal
        from prompter.live.keep_sound import SoundKeeper
        from prompter.live.runner import Runner
        from prompter.session import Session, Timing
        from prompter.speak.loudness import Limits

        plan = self._prepared.plan
        prepared, found = self._prepared, self._looked.found
        self._journal = LiveJournal(
            self._journal_folders(),
            self.clock.began,
            lambda: self._opened(voice),
            lambda text: self.inbox.put(("disk", text)),
            found,
            lambda seq, waited_ms: self.inbox.put(("late", (seq, waited_ms))),
            self._sealer,
        )
        if found is not None:
            now_ms = self.clock.now_ms()
            at = self.clock.began + timedelta(milliseconds=now_ms)
            for entry in entries_to_go_on(found, self._opened(voice), at, now_ms):
                self._journal.append(*entry)
        keeper = None
        if prepared.plan is not None and prepared.plan.keep_sound and not self._keys_only:
            keeper = SoundKeeper(lambda: self._journal.path, self._sealer).keep
        session = Session(
            prepared.table,
            self._mixer,
            Timing(self.clock.began, self._heard_at.sound_ms),
            self._journal,
            watchers=(self,),
            machine=found.machine if found else None,
            keep_sound=keeper,
            loudness=Limits(plan.voice.quietest_db, plan.voice.loudest_db) if plan else Limits(),
        )
        self._runner = Runner(
            session, self.clock, self._heard_at, self._own_echo, self.inbox, self._card, self._screen,
            listens=not self._keys_only, plan_state=self._plan_state(), load_ears=self._load_ears,
            first_notices=self._first(), goes_on=found, plan=self._prepared.plan,
        )  # fmt: skip

    def feeding(self, event: Any) -> None:
        """Nothing to do before an event (a `Watcher` of the session)."""

    def fed(self, event: Any, cues: list[Any]) -> None:
        """Nor after it."""

    def saw(self, record: dict[str, Any]) -> None:
        """What the screen shows of what is journalled."""
        if self._runner is not None:
            self._runner.saw(record)

    def _first(self) -> tuple[tuple[str, str, str], ...]:
        found = []
        if self._prepared.plan_trouble:
            found.append(("plan", self._prepared.plan_trouble, notices.NO_PLAN))
        if self._voice_trouble:
            found.append(("voice", self._voice_trouble, ""))
        if self._voice.lacks:
            found.append(("voice", self._voice.lacks, notices.OTHER_VOICE))
        if self._key_trouble:
            found.append(("journal key", self._key_trouble, notices.NOT_SEALED))
        if self._looked.held:
            found.append(("second prompter", self._looked.why_not[-1], notices.ANOTHER_RUNS))
        elif self._looked.why_not and self._looked.found is None:
            found.append(("interrupted emergency", self._looked.why_not[0], ""))
        return tuple(found)

    def _plan_state(self) -> str:
        # Whether it is approved is journalled and not shown: nobody can mend that now.
        return "found" if self._prepared.plan else "MISSING: no numbers are said"

    def _journal_folders(self) -> list[Path]:
        from prompter.care import place
        from prompter.errors import CannotDo

        folders = [self._out] if self._out else []
        with contextlib.suppress(CannotDo):
            folders.append(place.journal_folder())
        return [*folders, Path(tempfile.gettempdir()) / "prompter-journals"]

    def _opened(self, voice: str | None) -> dict[str, Any]:
        from prompter.live.ears import ears_there
        from prompter.opening import clock_record, opened_record

        prepared = self._prepared
        return opened_record(
            flow_text=prepared.flow_text,
            plan_text=prepared.plan_text,
            plan_name=prepared.plan_name,
            variant=prepared.table.variant,
            live=True,
            seed=None,
            voice=voice,
            ears=[] if self._keys_only else ears_there(),
            settings={"keys_only": self._keys_only, "mix_rate_hz": self._mixer.rate_hz},
            approval=prepared.approval(),
            clock=clock_record(self.clock.zero_s),
        )

    # ---- beside the first prompt -------------------------------------------------------------------

    def _start_the_rest(self) -> None:
        from prompter.live.awake import Awake

        gc.freeze()
        gc.enable()
        self._screen.start()
        self._keyboard.start()
        self._journal.begin()
        if not self._keys_only:
            self._load_ears()
        threading.Thread(target=self._prepare_clips, name="clips", daemon=True).start()
        self._awake = Awake()
        self._awake.start()

    def _load_ears(self) -> None:
        from prompter.live.ears import load_ears

        load_ears(self._prepared.table, self.inbox.put)

    def _prepare_clips(self) -> None:
        from prompter.live.preparing import every_prompt

        texts = every_prompt(self._prepared.table)
        # A pause after each: what is said and heard meanwhile comes first.
        missing = self._store.prepare(texts, lambda *_: time.sleep(limits.CLIP_PAUSE_S))
        if missing:
            self.inbox.put(("no voice", f"{len(missing)} prompts can only be shown"))

    def _tap(self, block: Any) -> None:
        self._heard_at.tap(block)
        self._own_echo.played(block, self.clock.now_ms() + round(self._heard_at.latency_ms))

    # ---- when it fails -----------------------------------------------------------------------------

    def _run_runner(self) -> None:
        try:
            self._runner.run()
        except BaseException as error:  # noqa: BLE001 - whatever it is, the last resort speaks
            self._crash = error

    def _hangs(self) -> bool:
        """Whether the runner has stood still, seen more than once: a machine that was asleep has
        only missed the time."""
        still = time.monotonic() - self._runner.turned_s > limits.RUNNER_HANGS_S
        self._seen_still = self._seen_still + 1 if still else 0
        return self._seen_still >= limits.RUNNER_LOOKS

    def _last_resort(self, error: BaseException) -> None:
        """Speaks on without session and flow, until Ctrl-C twice or a signal."""
        detail = f"{type(error).__name__}: {error}"
        if self._journal is not None:
            now = self.clock.now_ms()
            at = self.clock.began
            with contextlib.suppress(Exception):
                fault = {"kind": "fault", "part": "program", "detail": detail}
                self._journal.append(fault, at, now)
        if self._mixer is None:
            self._bare_mixer()
        with contextlib.suppress(Exception):
            self._screen.start()
            self._keyboard.start()
        closing = _Closing(self.inbox)
        last_resort.run(
            self._mixer,
            self._breaths_per_minute,
            closing,
            lambda text: self._screen.show(Shown(title=text, notice=f"{detail}. Ctrl-C twice closes.")),
        )

    def _bare_mixer(self) -> None:
        """Where not even the protocol could be read: a voice, if there is one, and a loudspeaker."""
        from prompter.speak.clips import ClipStore
        from prompter.speak.mixer import Mixer

        store = ClipStore(Path(tempfile.gettempdir(), "prompter-clips"), voice_at_once()[0])
        self._mixer = Mixer(self._card.rate_hz(limits.LOUDSPEAKER_WAIT_S), store.clip)
        self._card.play(self._mixer)


class _Closing:
    """Whether somebody wants the last resort to end: Ctrl-C twice, or the system's wish."""

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox
        self._asked_s = -limits.CLOSE_AGAIN_S

    def __call__(self) -> bool:
        with contextlib.suppress(queue.Empty):
            while True:
                what, value = self._inbox.get_nowait()
                if what == "close":
                    return True
                if (what, value) == ("key", "ctrl-c"):
                    before, self._asked_s = self._asked_s, time.monotonic()
                    if self._asked_s - before <= limits.CLOSE_AGAIN_S:
                        return True
        return False


@contextlib.contextmanager
def _libraries_hushed() -> Iterator[None]:
    """Sound libraries write warnings of their own to the terminal, across the screen."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield
        return
    sys.stderr.flush()
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


@contextlib.contextmanager
def _signals(inbox: Inbox) -> Iterator[None]:
    """Turns signals into messages: Ctrl-C asks once, the system's wish to end closes in order, and
    a terminal that goes away ends only the screen."""
    wishes = {
        "SIGINT": ("key", "ctrl-c"),
        "SIGTERM": ("close", "the system ended it"),
        "SIGBREAK": ("close", "the window was closed"),
        "SIGHUP": ("screen gone", "the terminal was closed"),
    }
    before = {}
    for name, message in wishes.items():
        number = getattr(signal, name, None)
        if number is not None:
            before[number] = signal.signal(number, lambda *_, m=message: inbox.put(m))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
