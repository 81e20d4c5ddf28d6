"""What wordings score in silence is kept between starts, and a damaged file is as none."""

from pathlib import Path

import pytest

from prompter.events import Phrase
from prompter.hear import silence_scores
from prompter.hear.embedded_ear import EmbeddedEar

MODEL = "1 bytes, window 400"


def test_round_trip_for_the_same_model_only(tmp_path: Path) -> None:
    silence_scores.save(tmp_path, MODEL, {"chest flat": -3.25})
    assert silence_scores.load(tmp_path, MODEL) == {"chest flat": -3.25}
    assert silence_scores.load(tmp_path, "2 bytes, window 400") == {}


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"version":1}', b"\xff\xfe", b'{"version":1,"model":"1 bytes, window 400","scores":{"a":"b"}}'])  # fmt: skip
def test_a_damaged_file_is_as_none(tmp_path: Path, content: bytes) -> None:
    silence_scores.save(tmp_path, MODEL, {"chest flat": -3.25})
    (file,) = tmp_path.iterdir()
    file.write_bytes(content)
    assert silence_scores.load(tmp_path, MODEL) == {}


def test_a_folder_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    silence_scores.save(tmp_path / "file", MODEL, {"chest flat": -3.25})
    assert silence_scores.load(tmp_path / "file", MODEL) == {}
    assert silence_scores.load(None, MODEL) == {}


def test_an_ear_finds_again_what_another_computed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    phrases = [Phrase("chest flat", "flat"), Phrase("going up", "rising")]
    first = EmbeddedEar(cache=tmp_path)
    first.prepare(phrases)
    second = EmbeddedEar(cache=tmp_path)
    second.load()
    monkeypatch.setattr(second._model, "likely", lambda *_: pytest.fail("computed again"))
    second.prepare(phrases)
    assert second._silent == first._silent and {"chest flat", "going up"} <= set(first._silent)
