"""Clips of any rate and format come in as live sound would; bad ones in one clear line."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.clip import blocks_of, read_clip


def tone(rate_hz: int, seconds: float = 1.0, hz: float = 440.0) -> np.ndarray:
    return (0.3 * np.sin(2 * np.pi * hz * np.arange(int(rate_hz * seconds)) / rate_hz)).astype("f4")


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 44_100, 48_000])
@pytest.mark.parametrize("ending", ["wav", "flac", "ogg"])
def test_any_rate_and_format_keeps_length_and_pitch(tmp_path, rate_hz, ending) -> None:
    path = tmp_path / f"tone.{ending}"
    soundfile.write(path, tone(rate_hz), rate_hz)
    sound = read_clip(path)
    assert sound.dtype == np.float32 and abs(len(sound) - 16_000) <= 160
    spectrum = np.abs(np.fft.rfft(sound[:16_000]))
    assert abs(int(spectrum.argmax()) * 16_000 / len(sound[:16_000]) - 440) < 3


def test_stereo_becomes_the_mean(tmp_path) -> None:
    path = tmp_path / "two.wav"
    soundfile.write(path, np.stack([tone(16_000), np.zeros(16_000)], axis=1), 16_000, "FLOAT")
    assert np.allclose(read_clip(path), tone(16_000) / 2, atol=1e-6)


def bad_files(folder: Path) -> dict[str, bytes | None]:
    soundfile.write(folder / "good.flac", tone(16_000), 16_000)
    soundfile.write(folder / "none.wav", np.zeros(0), 16_000)
    soundfile.write(folder / "nan.wav", np.full(100, np.nan), 16_000, "FLOAT")
    soundfile.write(folder / "long.wav", np.zeros(10 * (limits.CLIP_MAX_S + 1)), 10, "PCM_U8")
    return {
        "missing.wav": None,
        "empty.wav": b"",
        "text.wav": b"this is no sound",
        "cut.flac": (folder / "good.flac").read_bytes()[:60],
        "none.wav": (folder / "none.wav").read_bytes(),
        "nan.wav": (folder / "nan.wav").read_bytes(),
        "long.wav": (folder / "long.wav").read_bytes(),
    }


@pytest.mark.parametrize(
    "name",
    ["missing.wav", "empty.wav", "text.wav", "cut.flac", "none.wav", "nan.wav", "long.wav"],
)
def test_a_bad_file_is_refused_in_one_line_that_names_it(tmp_path, name) -> None:
    content = bad_files(tmp_path)[name]
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(CannotDo) as error:
        read_clip(path)
    line = error.value.one_line()
    assert name in line and "Mend:" in line and "\n" not in line


def test_a_folder_is_refused(tmp_path) -> None:
    with pytest.raises(CannotDo):
        read_clip(tmp_path)


def test_blocks_hold_the_sound_and_a_second_of_silence() -> None:
    sound = tone(16_000, 0.9)
    blocks = list(blocks_of(sound))
    joined = np.concatenate([block for block, _ in blocks])
    assert all(len(block) == 512 for block, _ in blocks)
    assert np.array_equal(joined[: len(sound)], sound)
    assert not joined[len(sound) :].any() and len(joined) - len(sound) >= 16_000
    assert [at for _, at in blocks[:3]] == [32, 64, 96]
