"""Takes one spoken wording from the microphone, with a little of the room around it."""

from collections import deque
from typing import Protocol

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.endpoint import BLOCK_MS, Endpointer


class Source(Protocol):
    """What blocks come from; the microphone is one."""

    def read(self, timeout_s: float = ...) -> np.ndarray | None:
        """The next float32[512] block at 16 kHz; None if none came in time."""
        ...

    def trouble(self) -> list[str]: ...


def one_take(source: Source, ends: Endpointer) -> np.ndarray | None:
    """The next utterance (float32, mono, 16 kHz); None if nobody spoke in `limits.TAKE_WAIT_S`,
    or the talk did not end.

    `ends` is left closed. Raises CannotDo if the microphone is lost.
    """
    before: deque[np.ndarray] = deque(maxlen=limits.TAKE_ROOM_MS // BLOCK_MS)
    blocks: list[np.ndarray] = []
    at_ms = 0
    while source.read(0) is not None:  # said before it was asked for
        pass
    try:
        while True:
            block = source.read()
            if block is None:
                raise CannotDo(
                    "; ".join(source.trouble()) or "the microphone gives no sound.",
                    "microphone",
                    "Plug it in again, and start the same command: what was recorded is kept.",
                )
            at_ms += BLOCK_MS
            if ends.push(block, at_ms):
                blocks = list(before)
            if not ends.open:
                before.append(block)
                if at_ms >= 1000 * limits.TAKE_WAIT_S:
                    return None
                continue
            blocks.append(block)
            if ends.length_ms >= limits.UTTERANCE_MAX_MS:
                return None
            if ends.silent_ms >= limits.TAKE_ROOM_MS:
                return np.concatenate(blocks)
    finally:
        if ends.open:
            ends.close()
