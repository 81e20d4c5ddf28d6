"""An emergency goes before other programs where it may, and is not stopped where it may not."""

import os
import subprocess
import sys

import pytest

pytestmark = pytest.mark.skipif(os.name != "posix", reason="niceness is POSIX'")
CODE = """
import os, threading
from prompter.live.priority import go_first
{before}
allowed, found = go_first(), []
thread = threading.Thread(target=lambda: found.append(os.getpriority(os.PRIO_PROCESS, threading.get_native_id())))
thread.start(); thread.join()
print(allowed, os.getpriority(os.PRIO_PROCESS, 0), found[0])
"""


def told(before: str = "") -> list[str]:
    return subprocess.run([sys.executable, "-c", CODE.format(before=before)], capture_output=True, text=True, check=True).stdout.split()


@pytest.mark.skipif(os.name == "posix" and os.geteuid() != 0, reason="takes a right")
def test_where_it_may_it_goes_first_and_its_later_threads_too() -> None:
    assert told("os.setpriority(os.PRIO_PROCESS, 0, 0)") == ["True", "-10", "-10"]
    assert told("os.setpriority(os.PRIO_PROCESS, 0, -15)") == ["True", "-15", "-15"]  # what is higher already stays


def test_where_it_may_not_all_goes_on_as_before() -> None:
    mine = str(os.getpriority(os.PRIO_PROCESS, 0))
    forbid = "def no(*_): raise PermissionError(13, 'no')\nos.setpriority = no"
    assert told(forbid) == ["False", mine, mine]
