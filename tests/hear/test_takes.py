"""Recordings named by wording: found again, kept whole, and never written over."""

import numpy as np
import pytest

from prompter.errors import CannotDo
from prompter.hear.clip import read_clip
from prompter.hear.takes import find_takes, keep_take

SOUND = np.sin(np.arange(16_000) / 20).astype(np.float32) * 0.3


def test_takes_are_found_by_wording_however_the_file_is_written(tmp_path) -> None:
    names = ["wont-pass-1.flac", "Won't pass 2.wav", "won't_pass.3.OGG", "limp nothing.flac", "hello.wav"]
    for name in [*names, "notes.txt"]:
        (tmp_path / name).write_bytes(b"")
    found = find_takes(tmp_path, ["won't pass", "limp, nothing", "chest flat"])
    assert {p.name for p in found.of["won't pass"]} == set(names[:3])
    assert [p.name for p in found.of["limp, nothing"]] == ["limp nothing.flac"]
    assert "chest flat" not in found.of
    assert [p.name for p in found.ignored] == ["hello.wav"]


def test_a_take_is_kept_beside_the_others_for_its_owner_alone(tmp_path) -> None:
    folder = tmp_path / "new" / "voice"
    first, second = (keep_take(folder, "chest flat", SOUND * k) for k in (1, 0.5))
    assert (first.name, second.name) == ("chest-flat-1.flac", "chest-flat-2.flac")
    assert first.stat().st_mode & 0o077 == 0
    assert np.abs(read_clip(first) - SOUND).max() < 1e-4
    assert find_takes(folder, ["chest flat"]).of == {"chest flat": [first, second]}


def test_no_half_file_is_left_and_the_reason_is_told(tmp_path, monkeypatch) -> None:
    def full(*args, **kwargs) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("soundfile.write", full)
    with pytest.raises(CannotDo, match="No space left"):
        keep_take(tmp_path, "chest flat", SOUND)
    assert list(tmp_path.iterdir()) == []
