"""Closes a sound card's stream without waiting for a driver that hangs.

A card that was pulled out can hold whoever closes it, for good. Neither the emergency nor its end may
wait for that: the stream is closed in a thread of its own, and left to it if it takes too long.
"""

import contextlib
import threading
from typing import Any

from prompter import limits

_lock = threading.Lock()
_threads: list[threading.Thread] = []


def close_stream(stream: Any) -> bool:
    """Closes it (a `sounddevice` stream, or anything with `close`); whether it is closed. Never raises."""

    def close() -> None:
        with contextlib.suppress(Exception):  # a card that was pulled out raises here too
            stream.close()

    thread = threading.Thread(target=close, name="closing a stream", daemon=True)
    with _lock:
        _threads[:] = [one for one in _threads if one.is_alive()]
        try:
            thread.start()
        except RuntimeError:  # the system has no thread left; to close it here might never come back
            return False
        _threads.append(thread)
    thread.join(limits.STREAM_CLOSE_S)
    return not thread.is_alive()


def hanging() -> int:
    """How many streams are still being closed: the sound library must not be begun anew meanwhile."""
    with _lock:
        return sum(thread.is_alive() for thread in _threads)
