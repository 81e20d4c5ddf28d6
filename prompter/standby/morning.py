"""The self-test of every morning: everything `prompter ready` looks at that makes no sound.

It runs as a process of its own: what it needs of memory is given back at its end. It is silent
where all is well.
"""

import json
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from prompter.standby import bounds

SAID = "Prompter is not ready. Please look at: {what}. The command prompter ready tells more."


class Morning:
    """Due once a day from `hour` (local time) on, and once at the start unless `at_start` is False."""

    def __init__(self, hour: int, now: datetime, at_start: bool = True) -> None:
        self._hour = hour
        self._done = None if at_start else (now.date() if now.hour >= hour else None)
        self._start_over = not at_start

    def due(self, now: datetime) -> bool:
        """Whether it is to run now; True once."""
        if not self._start_over:
            self._start_over = True
            self._done = now.date() if now.hour >= self._hour else None
            return True
        if now.hour < self._hour or self._done == now.date():
            return False
        self._done = now.date()
        return True


def self_test(plan: Path | None, loudspeaker: str | None) -> list[tuple[str, str]]:
    """(name, what was found) of everything that is not ok."""
    words = ["ready", "--quiet", "--json"]
    words += ["--plan", str(plan)] if plan else []
    words += ["--loudspeaker", loudspeaker] if loudspeaker else []
    try:
        ran = subprocess.run(
            [sys.executable, "-m", "prompter.cli", *words], stdin=subprocess.DEVNULL,
            capture_output=True, text=True, timeout=bounds.SELF_TEST_S,
        )  # fmt: skip
        checks = json.loads(ran.stdout)["checks"]
    except subprocess.TimeoutExpired:
        return [("the self-test", f"it took longer than {bounds.SELF_TEST_S:.0f} s")]
    except (OSError, ValueError, KeyError):
        return [("the self-test", f"it did not run: {ran.stderr.strip()[-200:] if 'ran' in locals() else 'no process'}")]
    return [
        (check["name"], f"{check['detail']} Do: {check['do']}".strip())
        for check in checks
        if check["state"] != "ok"
    ]


def run_beside(
    plan: Path | None, loudspeaker: str | None,
    tell: Callable[[str], None], say: Callable[[str], None],
) -> threading.Thread:  # fmt: skip
    """Runs it in a thread: tells each fault, and says one sentence if there are any."""

    def work() -> None:
        found = self_test(plan, loudspeaker)
        for name, detail in found:
            tell(f"self-test, not ok: {name}: {detail}")
        if found:
            say(SAID.format(what=", ".join(name for name, _ in found)))
        else:
            tell("self-test: all ok")

    thread = threading.Thread(target=work, name="self-test", daemon=True)
    thread.start()
    return thread
