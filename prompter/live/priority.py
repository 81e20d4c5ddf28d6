"""Lets an emergency go before what else the machine computes, as far as the system allows it."""

import contextlib
import os
import sys

_NICENESS = -10
"""As sound servers give themselves (PulseAudio: -11). Common practice, no source."""

_WINDOWS_HIGH = 0x80  # HIGH_PRIORITY_CLASS of the Windows SDK's winbase.h: from memory, untried


def go_first() -> bool:
    """Raises the priority of this process; threads that begin later have it too (so: early). Whether
    it was allowed: on Linux and macOS it mostly takes a right (`LimitNICE=`, root); without it all
    goes on as before."""
    with contextlib.suppress(OSError, AttributeError):
        if sys.platform == "win32":
            import ctypes

            kernel = ctypes.windll.kernel32
            return bool(kernel.SetPriorityClass(kernel.GetCurrentProcess(), _WINDOWS_HIGH))
        if os.getpriority(os.PRIO_PROCESS, 0) > _NICENESS:
            os.setpriority(os.PRIO_PROCESS, 0, _NICENESS)
        return True
    return False
