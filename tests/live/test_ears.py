"""What listens is loaded beside the first prompts; who is missing is told by its own name."""

import queue
from pathlib import Path
from typing import Any

import pytest

from prompter.errors import CannotDo
from prompter.flow.table import Table
from prompter.hear import ears as known_ears
from prompter.hear.hearing import Hearing
from prompter.live.ears import load_ears


class PretendedEar:
    """Loads as it is told; hears nothing."""

    def __init__(self, name: str, fails: str = "", note: str = "", ready: bool = True) -> None:
        self.name, self.note = name, note
        self._fails, self._ready = fails, ready

    def ready(self) -> tuple[bool, str]:
        return self._ready, "" if self._ready else "not installed"

    def load(self) -> None:
        if self._fails:
            raise CannotDo(self._fails)

    def prepare(self, phrases: Any) -> None:
        pass


@pytest.fixture
def loaded(monkeypatch: pytest.MonkeyPatch, demo_table: Table, tmp_path: Path) -> Any:
    """Loads these ears; all that is told up to the one report that ends it."""
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path))

    def load(*ears: PretendedEar) -> list[tuple[str, Any]]:
        monkeypatch.setattr(known_ears, "every_ear", lambda cache=None: list(ears))
        inbox: queue.Queue[tuple[str, Any]] = queue.Queue()
        load_ears(demo_table, inbox.put)
        told = [inbox.get(timeout=30)]
        while told[-1][0] == "one ear":
            told.append(inbox.get(timeout=30))
        return told

    return load


def test_a_lost_second_ear_is_told_by_its_name_and_the_first_listens(loaded: Any) -> None:
    told = loaded(PretendedEar("first"), PretendedEar("second", fails="its model is cut off"))
    assert told[0] == ("one ear", ("second", "its model is cut off"))
    assert told[1][0] == "ear" and isinstance(told[1][1], Hearing)


def test_what_the_first_ear_has_to_say_is_not_said_of_the_second(loaded: Any) -> None:
    told = loaded(PretendedEar("first", note="another folder is used"), PretendedEar("second"))
    assert told[0] == ("one ear", ("first", "another folder is used"))
    assert told[1][0] == "ear"


def test_an_ear_that_was_never_installed_is_not_missed(loaded: Any) -> None:
    assert [what for what, _ in loaded(PretendedEar("first"), PretendedEar("second", ready=False))] == ["ear"]


def test_without_any_ear_the_keys_go_on(loaded: Any) -> None:
    told = loaded(PretendedEar("first", fails="no memory"))
    assert told[0] == ("one ear", ("first", "no memory"))
    assert told[1][0] == "no ear" and "no recogniser" in told[1][1]
