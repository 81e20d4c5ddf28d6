"""Speaks one sentence in calm, and looks whether there is a loudspeaker. Both open it and close it
again: a loudspeaker held open all night costs computing, and others may want it."""

import contextlib
import threading
from typing import Any

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Say
from prompter.standby import bounds


class Voice:
    """`loudspeaker` names the device (None: the default). `sound_lock` is held while it is
    open: the sound library must not begin anew meanwhile."""

    def __init__(self, loudspeaker: str | int | None, sound_lock: threading.Lock) -> None:
        self._name, self._lock = loudspeaker, sound_lock
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []

    def say(self, text: str) -> None:
        """Speaks `text` in a thread of its own; silently nothing where it cannot."""
        thread = threading.Thread(target=self._say, args=(text,), name="standby voice", daemon=True)
        self._threads = [one for one in self._threads if one.is_alive()] + [thread]
        thread.start()

    def trouble(self) -> str:
        """Why nothing can be played now; empty if it can. Opens the loudspeaker; nothing is heard."""
        try:
            with self._lock:
                output = self._open(lambda text: None)[1]
                self._stop.wait(2 * limits.WATCH_S)
                why = output.failed()
                output.stop()
            return why or ""
        except CannotDo as error:
            return error.one_line()
        except Exception as error:  # noqa: BLE001 - whatever a driver does
            return f"{type(error).__name__}: {error}"

    def hush(self) -> None:
        """Ends what is being said: the emergency wants the loudspeaker."""
        self._stop.set()
        for thread in self._threads:
            thread.join(limits.WATCH_S)

    def _open(self, clip_of: Any) -> tuple[Any, Any]:
        from prompter.speak.loudspeaker import Loudspeaker, own_rate_hz
        from prompter.speak.mixer import Mixer

        mixer = Mixer(own_rate_hz(self._name), clip_of)
        output = Loudspeaker(mixer, self._name)
        output.start()
        return mixer, output

    def _say(self, text: str) -> None:
        with contextlib.suppress(Exception):  # the screen and the log have it as well
            from prompter.live.voice_at_once import voice_at_once

            voice = voice_at_once()[0]
            if voice is None or self._stop.is_set():
                return
            clip = voice.render(text)
            with self._lock:
                mixer, output = self._open(lambda _: clip)
                try:
                    mixer.enqueue(Say(0, 1, text, "notice", "standby"))
                    seconds = len(clip) / limits.MIX_RATE_HZ + limits.WATCH_S
                    self._stop.wait(min(seconds, bounds.SPEAK_S))
                finally:
                    output.stop()
