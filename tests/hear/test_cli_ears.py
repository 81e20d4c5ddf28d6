"""The commands `prompter ears`, as another program uses them."""

import json

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from prompter.cli_ears import app

runner = CliRunner()


def test_the_list_names_every_ear_and_what_is_missing(monkeypatch, tmp_path) -> None:
    monkeypatch.setenv("PROMPTER_VOSK_MODEL", str(tmp_path / "none"))
    result = runner.invoke(app, ["--json"])
    found = {row["name"]: row for row in json.loads(result.stdout)["ears"]}
    assert result.exit_code == 0
    assert found["whisper"]["ready"] is True
    assert found["vosk"]["ready"] is False and "vosk-model" in found["vosk"]["missing"]
    assert "whisper" in runner.invoke(app, []).stdout


def test_hear_gives_the_promised_fields(audio) -> None:
    clips = [sorted((audio / "spoken-words" / w).iterdir())[0] for w in ("stop", "silence")]
    result = runner.invoke(
        app, ["hear", *map(str, clips), "--phrases", "yes; no; stop", "--json"]
    )
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    assert answer["ears"] == ["whisper"]
    stop, silence = answer["clips"]
    assert {"file", "heard", "believed", "score", "runner_up", "decide_ms"} <= set(stop)
    assert (stop["file"], stop["heard"], stop["believed"]) == (str(clips[0]), "stop", True)
    assert isinstance(stop["decide_ms"], int) and stop["decide_ms"] > 0
    assert silence["believed"] is False


def test_hear_takes_other_rates_and_stereo(tmp_path, spoken) -> None:
    import soxr

    sound = soxr.resample(spoken("still struggling"), 16_000, 44_100)
    path = tmp_path / "stereo.wav"
    soundfile.write(path, np.stack([sound, sound], axis=1), 44_100)
    result = runner.invoke(
        app, ["hear", str(path), "--phrases", "still struggling; breathing fine", "--json"]
    )
    (clip,) = json.loads(result.stdout)["clips"]
    assert clip["heard"] == "still struggling" and clip["believed"]


def test_plain_output_is_a_table(audio) -> None:
    clip = sorted((audio / "spoken-words" / "no").iterdir())[0]
    result = runner.invoke(app, ["hear", str(clip), "--phrases", "yes;no"])
    assert result.exit_code == 0 and "believed" in result.stdout


@pytest.mark.parametrize(
    "arguments",
    [
        ["hear", "missing.wav", "--phrases", "yes"],
        ["hear", "empty.wav", "--phrases", "yes"],
        ["hear", ".", "--phrases", "yes"],
        ["hear", "good.wav", "--phrases", " ; "],
        ["hear", "good.wav", "--phrases", "yes", "--risk", "huge"],
    ],
)
def test_what_cannot_be_done_is_one_line_and_code_2(tmp_path, monkeypatch, arguments) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty.wav").write_bytes(b"")
    soundfile.write(tmp_path / "good.wav", np.zeros(16_000), 16_000)
    result = runner.invoke(app, [*arguments, "--json"])
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.strip().splitlines()) == 1 and "Traceback" not in result.stderr


def test_the_help_says_where_models_may_lie_and_which_are_refused() -> None:
    told = " ".join(runner.invoke(app, ["--help"]).stdout.split())
    for said in ("PROMPTER_WHISPER_MODEL", "PROMPTER_VOSK_MODEL", "no way to use another"):
        assert said in told
