"""Keeps the program small beside whatever else the machine does: GNU's allocator is told to.

By itself it keeps a heap for each thread and what the ears needed while they were made ready: over
400 MB in an emergency. (To give back always, not once, would double the time an answer takes to be
decided: measured.) Other systems' allocators are left alone.
"""

import contextlib
import ctypes
import sys

_ARENA_MAX = -8  # GNU's malloc.h
_HEAPS = 2


def keep_small() -> None:
    """To be called before threads begin. Does nothing where it cannot be had."""
    if not sys.platform.startswith("linux"):
        return
    with contextlib.suppress(OSError, AttributeError):  # another C library has no mallopt
        ctypes.CDLL(None).mallopt(_ARENA_MAX, _HEAPS)


def give_back() -> None:
    """Gives the system what is free, once after much was loaded."""
    if sys.platform.startswith("linux"):
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
