"""`prompter ears measure`: what counts as right, wrong, asked again and taken."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hearing_parts import ScriptedEar, sure_of
from typer.testing import CliRunner

from prompter.cli_ears import app
from prompter.events import Phrase
from prompter.hear.ear import Ranking
from prompter.hear.measure import measuring
from prompter.hear.measure.measuring import Measurement
from prompter.hear.measure.recordings import find_recordings

runner = CliRunner()
YES, NO = Phrase("yes", "yes"), Phrase("no", "no")
NOTHING = Ranking("scripted", [(YES, -9.0), (NO, -9.5)], text="mm", window=400)


@pytest.fixture(scope="module")
def folder(tmp_path_factory, audio) -> Path:
    """Two words of one person each, other labels, noise; other formats and rates, damaged files."""
    import shutil

    import soxr

    top = tmp_path_factory.mktemp("recordings")
    for label, count in (("yes", 3), ("no", 2), ("unknown", 2), ("silence", 1)):
        (top / "spoken-words" / label).mkdir(parents=True)
        for path in sorted((audio / "spoken-words" / label).iterdir())[:count]:
            shutil.copy(path, top / "spoken-words" / label)
    yes = top / "spoken-words" / "yes"
    sound, _ = soundfile.read(min(yes.iterdir()), dtype="float32")
    loud = soxr.resample(sound, 16_000, 44_100)
    soundfile.write(yes / "zz_stereo.wav", np.stack([loud, loud], 1), 44_100)
    (yes / "zz_empty.wav").write_bytes(b"")
    (yes / "zz_damaged.flac").write_bytes(b"fLaC and then nothing of use")
    (yes / "zz_notes.txt").write_text("no sound")
    (top / "room-noise" / "hiss").mkdir(parents=True)
    shutil.copy(min((audio / "room-noise" / "hiss").iterdir()), top / "room-noise" / "hiss")
    return top


def counted(folder: Path, monkeypatch, *rankings: Ranking, label: str = "yes") -> dict:
    """One label, its first clip heard as `rankings` say."""
    found = find_recordings(folder)
    measurement = Measurement(found, [ScriptedEar(*rankings)], [YES, NO])
    monkeypatch.setattr(measuring, "listen", lambda sound, ears, allowed: _listened(ears, allowed))
    measurement.take(next(job for job in measurement.jobs() if job.label == label))
    return measurement.record()


def _listened(ears, allowed):
    """One utterance an ear's ranking; the path itself is tested with the real ear below."""
    from types import SimpleNamespace

    from prompter.hear.decision import decide

    heard = []
    for ranking in ears[0]._rankings:
        verdict = decide([ranking])
        heard.append(SimpleNamespace(heard=verdict.heard, believed=verdict.believed, decide_ms=7,
                                     ears=verdict.ears, number=verdict.number))  # fmt: skip
    return SimpleNamespace(heard=heard, trouble=["an ear failed"])


@pytest.mark.parametrize(
    ("rankings", "outcome"),
    [
        ([sure_of(YES)], "right"),
        ([sure_of(NO)], "wrong"),
        ([NOTHING], "asked_again"),
        ([], "asked_again"),
        ([NOTHING, sure_of(YES)], "right"),
        ([sure_of(YES), sure_of(NO)], "wrong"),
    ],
)
def test_a_word_is_right_wrong_or_asked_again(folder, monkeypatch, rankings, outcome) -> None:
    row = counted(folder, monkeypatch, *rankings)["words"]["yes"]
    assert {k: row[k] for k in ("clips", "right", "wrong", "asked_again")} == {
        "clips": 1, "right": 0, "wrong": 0, "asked_again": 0, outcome: 1,
    }  # fmt: skip


def test_another_label_must_not_be_believed_and_silence_neither(folder, monkeypatch) -> None:
    for label in ("unknown", "silence"):
        taken = counted(folder, monkeypatch, sure_of(YES), label=label)
        assert taken["others"][label]["taken"] == 1
        assert taken["believed_and_should_not"][0]["heard"] == "yes"
        assert counted(folder, monkeypatch, NOTHING, label=label)["others"][label]["taken"] == 0


def test_noise_counts_seconds_and_every_answer(folder, monkeypatch) -> None:
    noise = counted(folder, monkeypatch, sure_of(YES), sure_of(NO), label=None)["noise"]
    assert noise["taken"] == 2 and noise["seconds"] == pytest.approx(5.0, abs=0.1)


def test_trouble_is_told(folder, monkeypatch) -> None:
    assert counted(folder, monkeypatch, NOTHING)["trouble"] == ["an ear failed (1 times)"]


def test_a_label_may_write_its_phrase_with_lines(tmp_path) -> None:
    for label in ("go_back", "Chest-Flat", "going"):
        (tmp_path / "spoken-words" / label).mkdir(parents=True)
        (tmp_path / "spoken-words" / label / "a.wav").write_bytes(b"")
    allowed = [Phrase("go back", "go back"), Phrase("chest flat", "chest flat")]
    record = Measurement(find_recordings(tmp_path), [], allowed).record()
    assert set(record["words"]) == {"go_back", "Chest-Flat"} and set(record["others"]) == {"going"}


# ---- the command, with the real ear ------------------------------------------------------------


@pytest.fixture(scope="module")
def measured(folder) -> tuple[dict, str]:
    result = runner.invoke(app, ["measure", str(folder), "--json"])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout), result.stderr


def test_the_promised_fields_and_counts(measured) -> None:
    found, _ = measured
    assert found["ears"] == ["whisper"] and found["phrases"] == ["yes", "no"]
    assert set(found["words"]) == {"yes", "no"} and set(found["others"]) == {"unknown", "silence"}
    for row in found["words"].values():
        assert row["clips"] == row["right"] + row["wrong"] + row["asked_again"]
    assert found["words"]["yes"]["clips"] == 4 and found["words"]["yes"]["right"] >= 3
    assert found["others"]["unknown"] == {"clips": 2, "taken": 0, "taken_at_most": 0.77639}
    assert found["noise"]["taken"] == 0 and found["noise"]["seconds"] > 4
    assert found["decide_ms"]["p50"] > 0 and found["complete"] is True


def test_damaged_files_are_a_line_each_and_counted(measured) -> None:
    found, told = measured
    assert {Path(row["file"]).name for row in found["damaged"]} == {"zz_empty.wav", "zz_damaged.flac"}
    for name in ("zz_empty.wav", "zz_damaged.flac"):
        assert len([line for line in told.splitlines() if name in line]) == 1
    assert "zz_notes" not in told


def test_the_same_seed_gives_the_same_and_a_part_is_a_part(folder) -> None:
    command = ["measure", str(folder), "--json", "--noise", "hiss", "--snr", "5", "--seed", "3", "--limit", "1"]
    first, second = (json.loads(runner.invoke(app, command).stdout) for _ in range(2))
    for found in (first, second):
        del found["decide_ms"]  # the real computing time
    assert first == second
    assert all(row["clips"] <= 1 for row in first["words"].values())


def test_people_read_a_table(folder) -> None:
    result = runner.invoke(app, ["measure", str(folder), "--limit", "1", "--speakers", "report"])
    assert result.exit_code == 0, result.stderr
    for said in ("right", "asked again", "at most", "unknown", "p95", "tuned nothing"):
        assert said in result.stdout


def test_without_words_or_without_noise_it_goes_on_with_what_is_there(folder, tmp_path) -> None:
    for part in ("spoken-words", "room-noise"):
        (tmp_path / part).mkdir()
        (tmp_path / part / part).symlink_to(folder / part)
        result = runner.invoke(app, ["measure", str(tmp_path / part), "--json", "--limit", "1"])
        found = json.loads(result.stdout)
        assert bool(found["words"]) == (part == "spoken-words")
        assert bool(found["noise"]["seconds"]) == (part == "room-noise")


def test_ctrl_c_gives_what_was_measured_so_far(folder, monkeypatch) -> None:
    really, calls = measuring.listen, []

    def stopped(*arguments):
        calls.append(1)
        if len(calls) > 2:
            raise KeyboardInterrupt
        return really(*arguments)

    monkeypatch.setattr(measuring, "listen", stopped)
    result = runner.invoke(app, ["measure", str(folder), "--json"])
    found = json.loads(result.stdout)
    assert result.exit_code == 130 and found["complete"] is False
    assert sum(row["clips"] for row in found["words"].values()) == 2


@pytest.mark.parametrize(
    "arguments",
    [
        ["none"], ["."], ["words", "--phrases", " ; "], ["words", "--risk", "huge"],
        ["words", "--noise", "hiss"], ["words", "--snr", "5"], ["words", "--noise", "none", "--snr", "5"],
        ["words", "--noise", "x", "--snr", "nan"], ["words", "--limit", "0"],
        ["words", "--speakers", "some"], ["words", "--seed", "-1"], ["words"],
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_one_line_and_code_2(tmp_path, monkeypatch, arguments) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "words" / "spoken-words" / "yes").mkdir(parents=True)
    (tmp_path / "words" / "spoken-words" / "yes" / "a.wav").write_bytes(b"")  # none can be read
    result = runner.invoke(app, ["measure", *arguments, "--json"])
    assert result.exit_code == 2 and result.stdout == ""
    assert "Traceback" not in result.stderr and "Mend:" in result.stderr
