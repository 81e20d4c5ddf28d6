"""What keys mean: answers, letters that always work, the number, the pedal, and closing."""

from typing import Any

import pytest

from prompter import limits
from prompter.flow.machine import View
from prompter.live.pressing import Pressing


class Asked:
    """Stands for a session at one step; remembers what it was told."""

    def __init__(self, *own: str, everywhere: dict[str, str] | None = None) -> None:
        self.own = own
        self.everywhere = everywhere or {}
        self.told: list[Any] = []

    def view(self) -> View:
        own = tuple((str(n), answer, f"said {answer}") for n, answer in enumerate(self.own, 1))
        more = tuple((key, answer, f"said {answer}") for key, answer in self.everywhere.items())
        return View("step", "Title", "Prompt", own, more, "asked", {}, None, "")

    def press(self, key: str, at_ms: int) -> bool:
        view = self.view()
        for name, answer, _ in (*view.own_keys, *view.everywhere_keys):
            if name == key:
                self.told.append(answer)
                return True
        return False

    def answer(self, answer: str, wording: str, at_ms: int) -> None:
        self.told.append(answer)

    def number(self, quantity: str, value: int, at_ms: int) -> None:
        self.told.append((quantity, value))


def pressed(session: Asked, *keys: str, letters: dict[str, str] | None = None) -> Pressing:
    pressing = Pressing(session, letters or {})
    for at_ms, key in enumerate(keys):
        pressing.key(key, at_ms)
    return pressing


def test_a_digit_is_an_answer_of_the_step() -> None:
    session = Asked("rising", "flat")
    pressed(session, "2")
    assert session.told == ["flat"]


def test_letters_work_everywhere_in_either_case() -> None:
    session = Asked("rising", everywhere={"o": "came out"})
    pressed(session, "o", "O")
    assert session.told == ["came out", "came out"]


def test_a_letter_works_where_its_answer_has_a_digit() -> None:
    session = Asked("came out")
    pressed(session, "o", letters={"o": "came out"})
    assert session.told == ["came out"]


def test_a_key_without_meaning_is_said_and_changes_nothing() -> None:
    session = Asked("rising")
    pressing = pressed(session, "9")
    assert session.told == [] and "9" in pressing.notice


@pytest.mark.parametrize("pedal", ["enter", "space"])
def test_a_pedal_says_done_where_that_is_an_answer(pedal: str) -> None:
    session = Asked("no saline", "done")
    pressed(session, pedal)
    assert session.told == ["done"]


@pytest.mark.parametrize("pedal", ["enter", "space"])
def test_a_pedal_says_again_elsewhere(pedal: str) -> None:
    session = Asked("rising", "flat")
    pressed(session, pedal)
    assert session.told == ["say again"]


@pytest.mark.parametrize(
    ("keys", "value"),
    [("#88", 88), ("#8x", None), ("#", None), ("#1234", 234)],
)
def test_a_number_is_typed(keys: str, value: int | None) -> None:
    session = Asked("rising")
    pressed(session, *keys, "enter")
    numbers = [told for told in session.told if isinstance(told, tuple)]
    assert numbers == ([("spo2", value)] if value is not None else [])


def test_a_typed_digit_is_no_answer_meanwhile_and_backspace_takes_it_back() -> None:
    session = Asked("rising", "flat")
    pressing = pressed(session, "#", "1", "2", "backspace")
    assert (session.told, pressing.typed) == ([], "1")


def test_something_urgent_ends_the_typing_and_counts() -> None:
    session = Asked(everywhere={"n": "not breathing"})
    pressing = pressed(session, "#", "8", "n")
    assert (session.told, pressing.typed) == (["not breathing"], None)


def test_escape_leaves_the_number() -> None:
    session = Asked("rising")
    assert pressed(session, "#", "8", "escape").typed is None
    assert session.told == []


def test_a_line_of_a_pipe_ends_a_number_but_is_no_answer() -> None:
    session = Asked("done")
    pressed(session, "#", "9", "1", "end of line", "1", "end of line")
    assert session.told == [("spo2", 91), "done"]


def test_ctrl_c_closes_only_when_pressed_again_soon() -> None:
    pressing = Pressing(Asked("rising"))
    pressing.key("ctrl-c", 0)
    assert not pressing.closes and "again" in pressing.notice
    pressing.key("ctrl-c", round(1000 * limits.CLOSE_AGAIN_S) + 1)
    assert not pressing.closes
    pressing.key("ctrl-c", round(1000 * limits.CLOSE_AGAIN_S) + 2000)
    assert pressing.closes


def test_a_lines_end_that_comes_in_late_does_not_take_the_wish_to_close_back() -> None:
    """From a pipe "1" and its line's end are two messages; Ctrl-C may stand between them."""
    session = Asked("rising")
    assert pressed(session, "1", "ctrl-c", "end of line", "ctrl-c").closes
    assert not pressed(session, "ctrl-c", "1", "ctrl-c").closes  # a key does
