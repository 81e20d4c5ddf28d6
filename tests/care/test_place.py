"""Where things are kept, and that only this user reads them."""

import os
import stat

import pytest

from prompter.care import place
from prompter.errors import CannotDo


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def test_everything_is_below_prompter_home(home):
    assert place.plan_file() == home / "plan.yaml"
    assert place.journal_folder() == home / "journals" and place.journal_folder().is_dir()
    assert place.cache_folder() == home / "cache" and place.cache_folder().is_dir()


def test_without_it_the_users_own_places(monkeypatch, tmp_path):
    monkeypatch.delenv("PROMPTER_HOME")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert place.plan_file().name == "plan.yaml" and "prompter" in str(place.plan_file())


def test_written_for_this_user_alone_and_nothing_beside_it():
    file = place.plan_file()
    place.write_private(file, "one")
    place.write_private(file, "two é")
    assert file.read_text(encoding="utf-8") == "two é"
    assert mode(file) == 0o600 and mode(file.parent) == 0o700
    assert [entry.name for entry in file.parent.iterdir()] == ["plan.yaml"]


def test_a_failed_write_leaves_the_old_file(monkeypatch):
    file = place.plan_file()
    place.write_private(file, "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(CannotDo, match="No space left.*Mend:"):
        place.write_private(file, "new")
    assert file.read_text(encoding="utf-8") == "old"
    assert [entry.name for entry in file.parent.iterdir()] == ["plan.yaml"]


def test_a_place_that_cannot_be_made(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("PROMPTER_HOME", str(tmp_path / "file" / "below"))
    for make in (place.journal_folder, place.cache_folder):
        with pytest.raises(CannotDo, match="PROMPTER_HOME"):
            make()
