"""The hours of waiting: sound, keys, the morning's self-test, and a sign of life for the watchdog."""

import threading
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Protocol

from prompter import limits
from prompter.standby import bounds
from prompter.standby.ear import Listening
from prompter.standby.log import Log
from prompter.standby.morning import Morning
from prompter.standby.service import Service
from prompter.standby.troubles import Troubles


class Pressable(Protocol):
    """A keyboard or a pedal."""

    def pressed(self) -> bool: ...


class Alive:
    """Tells systemd that standby lives, as long as its loop turns: one that hangs is started anew.

    While an emergency runs (`in_emergency`) it goes on telling: an emergency watches over itself.
    """

    def __init__(self, service: Service) -> None:
        self._service = service
        self._turned_s = time.monotonic()
        self.in_emergency = False
        if service.within_s is not None:
            threading.Thread(target=self._run, args=(service.within_s / 4,), name="alive", daemon=True).start()

    def turned(self) -> None:
        """The loop has turned."""
        self._turned_s = time.monotonic()

    @property
    def lives(self) -> bool:
        return self.in_emergency or time.monotonic() - self._turned_s < bounds.STILL_S

    def _run(self, every_s: float) -> None:
        while True:
            if self.lives:
                self._service.tell("WATCHDOG=1")
            time.sleep(every_s)


class Waiting:
    """`wait` returns why an emergency begins. `listening` None: keys alone."""

    def __init__(
        self,
        listening: Listening | None,
        presses: Sequence[Pressable],
        alive: Alive,
        log: Log,
        troubles: Troubles,
        morning: Morning,
        self_test: Callable[[], object],
        loudspeaker_trouble: Callable[[], str],
    ) -> None:
        self._listening, self._presses, self._alive = listening, presses, alive
        self._log, self._troubles = log, troubles
        self._morning, self._self_test = morning, self_test
        self._loudspeaker_trouble = loudspeaker_trouble
        self._looked_s = self._counted_s = time.monotonic()
        self._looking: threading.Thread | None = None
        self._lines_lost = 0

    def wait(self) -> str:
        """Until somebody starts: 'key' or 'start phrase'."""
        while True:
            if self._listening is None:
                time.sleep(limits.KEYS_WAIT_S)
            elif self._listening.heard():
                return "start phrase"
            if any([one.pressed() for one in self._presses]):
                return "key"
            self._alive.turned()
            self._now_and_then()

    def _now_and_then(self) -> None:
        now_s = time.monotonic()
        if now_s - self._looked_s >= bounds.TURN_S:
            self._looked_s = now_s
            if self._morning.due(datetime.now()):
                self._self_test()
            if self._log.lost > self._lines_lost:
                self._troubles.broke("disk", "the log cannot be written")
            else:
                self._troubles.well("disk")
            self._lines_lost = self._log.lost
            if now_s - self._counted_s >= bounds.COUNTS_S:
                self._counted_s = now_s
                if self._listening is not None:
                    self._log.line(self._listening.counts.line())
            self._look_at_loudspeaker(now_s)

    def _look_at_loudspeaker(self, now_s: float) -> None:
        if now_s < self._next_look_s or (self._looking and self._looking.is_alive()):
            return
        self._next_look_s = now_s + bounds.LOOK_S
        self._looking = threading.Thread(target=self._look, name="loudspeaker look", daemon=True)
        self._looking.start()

    _next_look_s = 0.0

    def _look(self) -> None:
        why = self._loudspeaker_trouble()
        if why:
            self._troubles.broke("loudspeaker", why)
        else:
            self._troubles.well("loudspeaker")
