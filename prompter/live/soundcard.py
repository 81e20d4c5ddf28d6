"""Opens loudspeaker and microphone, and opens them again after they were lost.

Opening may take seconds (a wireless device, a server that starts), so one thread of its own does
it; what comes of it is put on the runner's inbox. Threads: all methods belong to the runner's.
"""

import contextlib
import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.letting_go import hanging
from prompter.speak.mixer import Mixer

Put = Callable[[tuple[str, Any]], None]
"""Is given ('loudspeaker', Loudspeaker), ('microphone', Microphone), ('no loudspeaker', why),
('no microphone', why), ('other device', (part, text)), or ('look again', part): a device that was
plugged in since can only be found while none of ours is open (`Runner` decides when)."""


class SoundCard:
    """`microphone` and `loudspeaker` name devices (None: the default); `listens` False: no microphone."""

    def __init__(
        self,
        put: Put,
        tap: Callable[[np.ndarray], None],
        microphone: str | int | None,
        loudspeaker: str | int | None,
        listens: bool,
    ) -> None:
        self._put, self._tap = put, tap
        self._names = {"loudspeaker": loudspeaker, "microphone": microphone}
        self._wanted = {"loudspeaker"} | ({"microphone"} if listens else set())
        self._open: set[str] = set()
        self._said: dict[str, str] = {}
        self._sounded: tuple[str, float] = ("", 0.0)
        self._in_vain: list[str] = []
        self._mixer: Mixer | None = None
        self._rate_hz: int | None = None
        self._rate_known = threading.Event()
        self._change = threading.Condition()
        self._closing = self._at_once = False
        self._missed = {"loudspeaker": 0, "microphone": 0}
        self._ask_at = dict.fromkeys(self._missed, limits.LOOK_AGAIN_TRIES)
        self._start()

    def _start(self) -> None:
        threading.Thread(target=self._work, name="sound card", daemon=True).start()

    def rate_hz(self, wait_s: float) -> int:
        """The loudspeaker's own rate; a usual one if that is not known in time."""
        self._rate_known.wait(wait_s)
        return self._rate_hz or limits.OUTPUT_RATE_HZ

    def play(self, mixer: Mixer) -> None:
        """Open the loudspeaker for `mixer`, then the microphone."""
        with self._change:
            self._mixer = mixer
            self._change.notify_all()

    def lost(self, part: str) -> None:
        """'loudspeaker' or 'microphone' has failed or was closed: try again from now on, first at once."""
        with self._change:
            if part == "loudspeaker" and part in self._open:
                self._judge(*self._sounded)
            self._open.discard(part)
            self._at_once = True
            self._change.notify_all()

    def _judge(self, name: str, opened_s: float) -> None:
        """One that opens but does not play is not opened again and again while there is another."""
        if name and time.monotonic() - opened_s <= limits.OPENED_IN_VAIN_S:
            self._in_vain.append(name)
        else:
            self._in_vain.clear()

    def close(self) -> None:
        """Open nothing any more. Does not wait for a device that hangs."""
        with self._change:
            self._closing = True
            self._change.notify_all()

    def _work(self) -> None:
        self.look_for_rate()
        with self._change:
            self._change.wait_for(lambda: self._mixer is not None or self._closing)
        while not self._closing:
            self.look()
            with self._change:
                self._change.wait_for(lambda: self._closing or self._at_once, limits.SOUND_CARD_RETRY_S)

    def look_for_rate(self) -> None:
        """Finds the loudspeaker's own rate."""
        with contextlib.suppress(Exception):  # told when it cannot be opened
            from prompter.speak.loudspeaker import own_rate_hz

            self._rate_hz = own_rate_hz(self._names["loudspeaker"])
        self._rate_known.set()

    def look(self) -> None:
        """Tries once to open what is wanted and not open."""
        self._at_once = False
        if not self._open:
            _look_again()
        for part in ("loudspeaker", "microphone"):
            if part in self._wanted - self._open and not self._closing:
                self._try(part)

    def _try(self, part: str) -> None:
        try:
            device, instead = self._first_that_opens(part)
        except Exception as error:  # noqa: BLE001 - whatever a driver does, the keys go on
            why = error.one_line() if isinstance(error, CannotDo) else f"{type(error).__name__}: {error}"
            if self._said.get(part) != why:
                self._said[part] = why
                self._put((f"no {part}", why))
            self._count_miss(part)
            return
        self._said.pop(part, None)
        self._missed[part], self._ask_at[part] = 0, limits.LOOK_AGAIN_TRIES
        with self._change:
            self._open.add(part)
        self._put((part, device))
        if instead:
            self._put(("other device", (part, instead)))

    def _count_miss(self, part: str) -> None:
        """Asks to be let look again while another device is open; for a microphone less and less
        often, as the loudspeaker is interrupted for it."""
        self._missed[part] += 1
        if self._open and self._missed[part] >= self._ask_at[part]:
            later = self._missed[part] if part == "microphone" else limits.LOOK_AGAIN_TRIES
            self._ask_at[part] = self._missed[part] + min(later, limits.LOOK_AGAIN_MOST)
            self._put(("look again", part))

    def _first_that_opens(self, part: str) -> tuple[Any, str]:
        """The device that was named; else the default; else any: and why it is another."""
        from prompter.speak.loudspeaker import every_device

        make = self._loudspeaker if part == "loudspeaker" else self._microphone
        wanted = self._names[part]
        if part == "loudspeaker" and self._in_vain:
            device = self._another_loudspeaker(wanted)
            if device is not None:
                return device, f"{self._in_vain[0]} takes no sound. Instead: {device.device_name}."
        try:
            return make(wanted), ""
        except CannotDo as error:
            first = error
        kind = "output" if part == "loudspeaker" else "input"
        with contextlib.suppress(Exception):
            for other in [*([None] if wanted is not None else []), *every_device(kind)]:
                with contextlib.suppress(CannotDo):
                    name = "the default one" if other is None else f"number {other}"
                    return make(other), f"{first.one_line()} Instead: {name}."
        raise first

    def _another_loudspeaker(self, wanted: str | int | None) -> Any:
        """The first that opens of those that did not fail in vain; None if there is none."""
        from prompter.speak.loudspeaker import every_device, name_of

        for one in dict.fromkeys([wanted, None, *every_device("output")]):
            if name_of(one) in ("", *self._in_vain):
                continue
            with contextlib.suppress(CannotDo):
                return self._loudspeaker(one)
        self._in_vain.clear()  # all of them did: from the beginning
        return None

    def _loudspeaker(self, name: str | int | None) -> Any:
        from prompter.speak.loudspeaker import Loudspeaker

        if self._mixer is None:
            raise CannotDo("there is nothing to play yet")
        device = Loudspeaker(self._mixer, name, self._tap)
        device.start()
        self._sounded = (device.device_name, time.monotonic())
        return device

    def _microphone(self, name: str | int | None) -> Any:
        from prompter.hear.microphone import Microphone

        device = Microphone(name)
        device.open()
        return device


_looked = False


def _look_again() -> None:
    """Lets PortAudio find devices that were plugged in since; only while no stream of ours is open, and
    none that hangs is still being closed."""
    global _looked
    if hanging():
        return
    if not _looked:  # the first look was at the import
        _looked = True
        return
    with contextlib.suppress(Exception):
        import sounddevice

        sounddevice._terminate()
        sounddevice._initialize()
