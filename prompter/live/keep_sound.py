"""Keeps the sound of each utterance beside the journal, if the plan says so."""

import os
import queue
import threading
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.journal.sealing import Sealer
from prompter.journal.sounds import HASH_FIELD, SEALED_SUFFIX, hash_of, samples_16_bit


class SoundKeeper:
    """Writes utterances as FLAC (mono, 16 kHz) in the background; a full disk loses only them.

    `journal`: where the journal is now; `sealer` encrypts them as it does the journal. Threads: `keep` belongs to the runner's and never waits.
    """

    def __init__(self, journal: Callable[[], Path | None], sealer: Sealer | None = None) -> None:
        self._journal, self._sealer = journal, sealer
        self._queue: queue.Queue[tuple[Path, np.ndarray]] = queue.Queue(limits.KEPT_SOUNDS_QUEUE)
        threading.Thread(target=self._work, name="sound keeper", daemon=True).start()

    def keep(self, number: int, sound: np.ndarray) -> dict[str, str] | None:
        """Hands over utterance `number` (float32, mono, 16 kHz). What its line in the journal says of
        it: the file's name beside the journal and the hash; None if it is not kept."""
        journal = self._journal()
        if journal is None:
            return None
        name = f"{journal.stem}-sound/{number:03d}.flac{SEALED_SUFFIX if self._sealer else ''}"
        samples = samples_16_bit(sound)
        try:
            self._queue.put_nowait((journal.parent / name, samples))
        except queue.Full:
            return None
        return {"sound": name, HASH_FIELD: hash_of(samples)}

    def _work(self) -> None:
        while True:
            path, sound = self._queue.get()
            try:
                import soundfile

                path.parent.mkdir(mode=0o700, exist_ok=True)
                handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o600)
                with os.fdopen(handle, "w+b") as file:
                    flac = BytesIO()
                    soundfile.write(flac, sound, limits.SAMPLE_RATE_HZ, "PCM_16", format="FLAC")
                    data = flac.getvalue()
                    file.write(self._sealer.seal(data) if self._sealer else data)
            except (OSError, RuntimeError):  # the journal has said already what was heard
                continue
