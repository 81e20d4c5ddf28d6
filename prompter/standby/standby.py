"""`prompter standby`: waits, becomes the emergency in the same process, and waits again.

What the emergency needs is loaded and its protocol read before, so that it need not be then. After
it the program begins anew in the same process (exec): what an emergency took of memory is given
back, and systemd goes on seeing the same service.
"""

import contextlib
import gc
import os
import signal
import sys
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from prompter.care import place
from prompter.errors import CannotDo
from prompter.standby.keys import Keys, Pedal
from prompter.standby.log import Log
from prompter.standby.morning import Morning, run_beside
from prompter.standby.service import Service
from prompter.standby.start_phrase import SPOKEN, StartPhrase
from prompter.standby.troubles import Troubles
from prompter.standby.voice import Voice
from prompter.standby.waiting import Alive, Pressable, Waiting

AGAIN = "PROMPTER_STANDBY_AGAIN"
"""Set where standby begins anew after an emergency that was closed."""


def standby(
    plan: Path | None,
    keys_only: bool,
    out: Path | None,
    microphone: str | int | None,
    loudspeaker: str | int | None,
    pedal: str | None,
    self_test_hour: int,
) -> int:
    """Waits until it is ended; begins anew after each emergency. Raises CannotDo where it cannot begin."""
    from prompter.live.memory import give_back, keep_small

    keep_small()
    again = os.environ.pop(AGAIN, "") == "1"
    with _one_only(), _ended_in_order() as ends:
        service = Service()
        service.tell("STATUS=is being made ready")
        foot = Pedal(pedal) if pedal else None
        log = Log(_log_file(), show=True)
        alive = Alive(service)
        _load_the_emergency(plan)
        if not again and service.runs and _was_interrupted(plan, out):
            reason = "an emergency was interrupted"
        else:
            sound_lock = threading.Lock()
            voice = Voice(loudspeaker, sound_lock)
            troubles = Troubles(log.line, voice.say)
            keys = Keys()
            listening = None
            if not keys_only:
                listening = _listening(microphone, troubles, sound_lock)
            named = None if loudspeaker is None else str(loudspeaker)
            presses: list[Pressable] = [keys, *([foot] if foot else [])]
            waiting = Waiting(
                listening, presses, alive, log, troubles,
                Morning(self_test_hour, datetime.now(), at_start=not again),
                lambda: run_beside(plan, named, log.line, voice.say), voice.trouble,
            )  # fmt: skip
            give_back()
            gc.freeze()
            log.line(_waits(keys_only, keys.there, bool(foot)))
            service.tell("READY=1", "STATUS=waits for the start phrase")
            try:
                reason = waiting.wait()
            finally:
                alive.in_emergency = True
                voice.hush()
                keys.close()
                if listening is not None:
                    listening.close()
            listening = waiting = None  # type: ignore[assignment]
        alive.in_emergency = True
        service.tell("READY=1", "STATUS=an emergency runs")
        log.line(f"an emergency begins: {reason}")
        if foot is not None and not sys.stdin.isatty():
            foot.become_standard_input()
        code = _emergency(plan, keys_only, out, microphone, loudspeaker)
        log.line(f"the emergency was closed (code {code})")
        log.close()
        if ends():
            return 0
    return _begin_anew()


def _waits(keys_only: bool, terminal: bool, pedal: bool) -> str:
    ways = [] if keys_only else [f"say '{SPOKEN}'"]
    ways += ["press any key"] if terminal else []
    ways += ["press the pedal"] if pedal else []
    return f"Standby. To start: {', or '.join(ways)}. It watches nobody. Ctrl-C ends it."


def _listening(microphone: str | int | None, troubles: Troubles, sound_lock: threading.Lock):  # type: ignore[no-untyped-def]
    from prompter.standby.ear import Listening

    phrase = StartPhrase()
    try:
        phrase.warm_up()
    except Exception as error:  # noqa: BLE001 - tried again with the first piece; keys go on
        why = error.one_line() if isinstance(error, CannotDo) else f"{type(error).__name__}: {error}"
        troubles.broke("ear", why)
    return Listening(microphone, phrase, troubles, sound_lock)


def _load_the_emergency(plan: Path | None) -> None:
    """Imports what it imports, and reads plan and protocol once: both are quick the second time."""
    with contextlib.suppress(Exception):  # an emergency begins whatever is missing
        from prompter.hear import ears, hearing, scorer  # noqa: F401
        from prompter.live import awake, emergency, interrupted, journalling, keep_sound, runner  # noqa: F401
        from prompter.live.preparing import prepare
        from prompter.live.voice_at_once import voice_at_once
        from prompter.speak import clips, loudspeaker, mixer  # noqa: F401

        voice_at_once()
        prepare(plan)


def _emergency(
    plan: Path | None, keys_only: bool, out: Path | None,
    microphone: str | int | None, loudspeaker: str | int | None,
) -> int:  # fmt: skip
    from prompter.live.emergency import respond

    gc.disable()  # as `prompter respond` does, until the first prompt is out
    return respond(plan, keys_only, out, microphone, loudspeaker)


def _was_interrupted(plan: Path | None, out: Path | None) -> bool:
    """Whether an emergency was cut off a moment ago: a service that systemd started anew goes on with it."""
    with contextlib.suppress(Exception):
        from prompter.live.interrupted import look_in
        from prompter.live.preparing import prepare

        folders = [*([out] if out else []), place.journal_folder()]
        return look_in(folders, prepare(plan)).found is not None
    return False


def _begin_anew() -> int:
    os.environ[AGAIN] = "1"
    with contextlib.suppress(Exception):
        import sounddevice

        sounddevice._terminate()
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])
    return 1  # not reached


def _log_file() -> Path | None:
    with contextlib.suppress(CannotDo):
        return place.standby_folder() / "standby.log"
    return None


@contextlib.contextmanager
def _one_only() -> Iterator[None]:
    """Two would both answer. Raises CannotDo if another one waits."""
    from filelock import FileLock, Timeout

    try:
        lock = FileLock(place.standby_folder() / "lock", timeout=0)
        lock.acquire()
    except Timeout:
        raise CannotDo(
            "another prompter waits already.", "standby", "End that one first, or leave it to wait."
        ) from None
    except (CannotDo, OSError):  # a disk that cannot be written is no reason not to wait
        yield
        return
    try:
        yield
    finally:
        lock.release()


@contextlib.contextmanager
def _ended_in_order():  # type: ignore[no-untyped-def]
    """SIGTERM ends the waiting as Ctrl-C does. Yields whether it came, in an emergency too: that has
    handlers of its own, so the signals' numbers are read from the pipe that Python writes them into."""
    out, into = os.pipe()
    os.set_blocking(out, False)
    os.set_blocking(into, False)
    before = signal.set_wakeup_fd(into, warn_on_full_buffer=False)

    def ended(*_: object) -> None:
        raise SystemExit(0)

    handler = signal.signal(signal.SIGTERM, ended)

    def came() -> bool:
        with contextlib.suppress(BlockingIOError):
            return signal.SIGTERM in os.read(out, 4096)
        return False

    try:
        yield came
    finally:
        signal.signal(signal.SIGTERM, handler)
        signal.set_wakeup_fd(before)
        os.close(out)
        os.close(into)
