"""What a key means: an answer, a number being typed, or the wish to close."""

from dataclasses import dataclass, field
from typing import Protocol

from prompter import limits
from prompter.flow.machine import View


class Pressed(Protocol):
    """What keys can do (a `Session`)."""

    def view(self) -> View: ...
    def press(self, key: str, at_ms: int) -> bool: ...
    def answer(self, answer: str, wording: str, at_ms: int) -> None: ...
    def number(self, quantity: str, value: int, at_ms: int) -> None: ...


@dataclass
class Pressing:
    """Keeps what was typed so far. `notice` is for the screen, until the next key.

    `letters`: the letter of an answer, so that it works as well where the answer has a digit.
    Enter and space (a foot pedal) say "that's done" where that is an answer, else "say again".
    """

    session: Pressed
    letters: dict[str, str] = field(default_factory=dict)
    typed: str | None = None
    notice: str = ""
    closes: bool = False
    _close_asked_ms: int | None = field(default=None, repr=False)

    def key(self, name: str, at_ms: int) -> None:
        """Takes one key, named as `Keyboard` names it. `closes` is set once closing is confirmed."""
        if name == "ctrl-c":
            self._ctrl_c(at_ms)
            return
        if name == "end of line":  # no key, it only ends what was typed before it: it may come in late
            if self.typed is not None:
                self._number_over(at_ms)
            return
        self._close_asked_ms, self.notice = None, ""
        if self.typed is not None:
            self._typing(name, at_ms)
        elif name == "#":
            self.typed = ""
        elif name in ("enter", "space"):
            self._done(at_ms)
        elif len(name) == 1 and not self._press(name.lower(), at_ms):
            self.notice = f"The key {name} means nothing here."

    def _press(self, key: str, at_ms: int) -> bool:
        if self.session.press(key, at_ms):
            return True
        for _, answer, wording in self.session.view().own_keys:
            if answer == self.letters.get(key):
                self.session.answer(answer, wording, at_ms)
                return True
        return False

    def _ctrl_c(self, at_ms: int) -> None:
        asked, self._close_asked_ms = self._close_asked_ms, at_ms
        if asked is not None and at_ms - asked <= 1000 * limits.CLOSE_AGAIN_S:
            self.closes = True
        self.typed, self.notice = None, "Ctrl-C again to close."

    def _typing(self, name: str, at_ms: int) -> None:
        typed = self.typed or ""
        if name in "0123456789" and len(name) == 1:
            self.typed = (typed + name)[-limits.NUMBER_DIGITS :]
        elif name == "backspace":
            self.typed = typed[:-1]
        elif name in ("enter", "space"):
            self._number_over(at_ms)
        else:  # whatever else is pressed is more urgent than the number
            self.typed = None
            if name != "escape":
                self.key(name, at_ms)

    def _number_over(self, at_ms: int) -> None:
        typed, self.typed = self.typed, None
        if typed:
            self.session.number("spo2", int(typed), at_ms)

    def _done(self, at_ms: int) -> None:
        for _, answer, wording in self.session.view().own_keys:
            if answer == "done":
                self.session.answer(answer, wording, at_ms)
                return
        self.session.answer("say again", "say again", at_ms)
