"""Keeps machine and screen from falling asleep; where that cannot be had, nothing is lost."""

import contextlib
import threading


class Awake:
    """Holds the system awake from `start` to `stop`, in a thread: asking may take seconds."""

    def __init__(self) -> None:
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._hold, name="awake", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._over.set()

    def _hold(self) -> None:
        with contextlib.suppress(Exception):
            from wakepy import keep

            with keep.presenting(on_fail="pass"):
                self._over.wait()
