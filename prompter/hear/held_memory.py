"""How much freed memory the process keeps for itself: with glibc, less than it would by itself."""

import ctypes

_M_ARENA_MAX = -8
"""From glibc's malloc.h."""
ARENAS_MOST = 2
"""glibc gives each thread that finds the others busy a heap of its own, and what is freed there
stays there. Two for all: the most memory of 120 utterances fell from 397, 404 and 410 MB to 382 to
392 (n 6), with no difference in time that could be told (`tests/bench/memory.py`). Returning every
large block at once would save as much again, for a fifth to the whole more time."""


def hold_less() -> bool:
    """To be called before models are loaded; once is enough. Whether the system has such a setting."""
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):  # not glibc: macOS, Windows, musl
        return False
    return bool(mallopt(_M_ARENA_MAX, ARENAS_MOST))
