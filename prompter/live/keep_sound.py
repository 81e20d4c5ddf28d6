"""Keeps the sound of each utterance beside the journal, if the plan says so."""

import queue
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np

from prompter import limits


class SoundKeeper:
    """Writes utterances as FLAC (mono, 16 kHz) in the background; a full disk loses only them.

    `journal`: where the journal is now. Threads: `keep` belongs to the runner's and never waits.
    """

    def __init__(self, journal: Callable[[], Path | None]) -> None:
        self._journal = journal
        self._queue: queue.Queue[tuple[Path, np.ndarray]] = queue.Queue(limits.KEPT_SOUNDS_QUEUE)
        threading.Thread(target=self._work, name="sound keeper", daemon=True).start()

    def keep(self, number: int, sound: np.ndarray) -> str | None:
        """Hands over utterance `number`; its file's name beside the journal, None if it is not kept."""
        journal = self._journal()
        if journal is None:
            return None
        name = f"{journal.stem}-sound/{number:03d}.flac"
        try:
            self._queue.put_nowait((journal.parent / name, sound))
        except queue.Full:
            return None
        return name

    def _work(self) -> None:
        while True:
            path, sound = self._queue.get()
            try:
                import soundfile

                path.parent.mkdir(mode=0o700, exist_ok=True)
                soundfile.write(path, sound, limits.SAMPLE_RATE_HZ, format="FLAC")
            except (OSError, RuntimeError):  # the journal has said already what was heard
                continue
