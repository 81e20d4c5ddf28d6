"""Shows the emergency on the terminal; a terminal that is slow, small or gone hinders nothing.

Threads: `show` and `lose` belong to the runner's and never wait; one thread of our own draws, and
may be held up by a terminal that takes nothing. Without a terminal there are plain lines instead.
"""

import contextlib
import shutil
import sys
import threading
from collections.abc import Callable
from typing import Any

from prompter import limits
from prompter.live.shown import Shown

Put = Callable[[tuple[str, Any]], None]
"""Is given ('no screen', why)."""


class Screen:
    """Draws the latest picture, each time it or the window has changed."""

    def __init__(self, put: Put) -> None:
        self._put = put
        self._change = threading.Condition()
        self._latest: Shown | None = None
        self._lost = False
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="screen", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def show(self, shown: Shown) -> None:
        """This is how it stands now."""
        if shown == self._latest or self._lost:
            return
        with self._change:
            self._latest = shown
            self._change.notify_all()

    def lose(self, why: str) -> None:
        """The terminal is gone: nothing is drawn from now on."""
        if not self._lost:
            self._lost = True
            self._put(("no screen", why))

    def close(self) -> None:
        """Gives the terminal back as it was, if it takes anything; waits a second at most."""
        with self._change:
            self._closing = True
            self._change.notify_all()
        if self._thread.ident is not None:
            self._thread.join(2 * limits.SCREEN_WAIT_S)

    def _run(self) -> None:
        try:
            if sys.stdout is None:
                raise OSError("there is no screen")
            if sys.stdout.isatty():
                self._draw()
            else:
                self._print()
        except Exception as error:  # noqa: BLE001 - a terminal that went away
            self.lose(str(error) or type(error).__name__)

    def _draw(self) -> None:
        from rich.console import Console

        from prompter.live.layout import picture
        from prompter.live.letters import BLOCKS

        console = Console(highlight=False, markup=False)
        blocks = _has(BLOCKS, console.encoding)
        before: tuple[Shown, tuple[int, int]] | None = None
        with console.screen(hide_cursor=True) as window:
            while not (self._closing or self._lost):
                size = tuple(shutil.get_terminal_size())
                shown = self._latest
                if shown is not None and (shown, size) != before:
                    before = (shown, size)
                    window.update(picture(shown, *size, blocks))
                self._wait(shown)

    def _print(self) -> None:
        before = Shown()
        while not (self._closing or self._lost):
            shown = self._latest
            if shown is not None and shown != before:
                for line in lines(before, shown):
                    print(line, flush=True)
                before = shown
            self._wait(shown)

    def _wait(self, seen: Shown | None) -> None:
        with self._change:
            self._change.wait_for(
                lambda: self._closing or self._latest is not seen, limits.SCREEN_WAIT_S
            )


def _has(signs: str, encoding: str) -> bool:
    try:
        signs.encode(encoding)
    except (UnicodeError, LookupError):
        return False
    return True


def lines(before: Shown, now: Shown) -> list[str]:
    """What has changed, as plain lines."""
    found = []
    if now.title != before.title:
        found.append(f"STEP   {now.title}")
    if now.prompt != before.prompt and now.prompt:
        found.append(f"SAY    {now.prompt}")
    if now.own_keys != before.own_keys and now.own_keys:
        found.append("KEYS   " + "   ".join(f"{key} {wording}" for key, wording in now.own_keys))
    if now.heard != before.heard and now.heard:
        found.append(f"HEARD  {now.heard}")
    old = dict(before.parts)
    found += [f"STATE  {name}: {state}" for name, state in now.parts if old.get(name) != state]
    if now.panel is not None:
        # A time that goes on is no news.
        known = set() if before.panel is None or before.panel.title != now.panel.title else {*before.panel.facts, *(text for text, _ in before.panel.told)}
        told = zip(now.panel.told, now.panel.sentences, strict=True)
        new = [sentence for (text, _), sentence in told if text not in known]
        found += [f"PANEL  {line}" for line in [*new, *(fact for fact in now.panel.facts if fact not in known)]]
    if now.notice != before.notice and now.notice:
        found.append(f"NOTE   {now.notice}")
    return found


def say_plainly(text: str) -> None:
    """One line for people on standard output, if anybody is there."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        print(text, flush=True)
