"""What is found in a folder, whose voice it is, and noise laid under it."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from prompter.errors import CannotDo
from prompter.hear.measure.mixing import Surroundings, active_rms
from prompter.hear.measure.recordings import (
    evenly,
    find_recordings,
    half_of,
    noise_files,
    speaker_of,
)  # fmt: skip

RATE = 16_000


def tone(seconds: float, rms: float, hz: float = 440.0) -> np.ndarray:
    return (np.sin(2 * np.pi * hz * np.arange(int(seconds * RATE)) / RATE) * rms * 2**0.5).astype(np.float32)


def wav(path: Path, sound: np.ndarray, rate_hz: int = RATE) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, sound, rate_hz, subtype="FLOAT")
    return path


def rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(sound.astype(np.float64) ** 2)))


def test_speakers_are_those_of_the_attribution() -> None:
    """shared/audio/ATTRIBUTION.md: before the first `_`; in `unknown` after the word."""
    assert speaker_of("yes", "03401e93_nohash_0.flac") == "03401e93"
    assert speaker_of("unknown", "backward_5170b77f_nohash_4.wav.flac") == "5170b77f"
    assert speaker_of("unknown", "odd.flac") == "odd.flac"


def test_the_halves_are_fixed_for_ever() -> None:
    """Thresholds were fitted on one half: if the split moved, they would be judged by their own."""
    # The first byte of `sha256sum` of each name is ec, 8e, b1, cc, 48: even is fit.
    names = ("03401e93", "0bac8a71", "105a0eea", "5170b77f", "1050.flac")
    assert [half_of(name) for name in names] == ["fit", "fit", "report", "fit", "fit"]


def test_one_speaker_is_in_one_half_whatever_was_said(audio) -> None:
    found = find_recordings(audio)
    report = found.only("report", None)
    kept = {speaker_of(k, p.name) for k, paths in report.spoken.items() for p in paths}
    left = {speaker_of(k, p.name) for k, paths in found.spoken.items() for p in paths if p not in report.spoken[k]}
    assert kept and left and not kept & left


def test_labels_are_folders_and_only_sounds_count(tmp_path) -> None:
    for name in ("a.wav", "b.FLAC", ".hidden.wav", "notes.txt"):
        (tmp_path / "spoken-words" / "yes").mkdir(parents=True, exist_ok=True)
        (tmp_path / "spoken-words" / "yes" / name).write_bytes(b"")
    (tmp_path / "spoken-words" / "empty").mkdir()
    found = find_recordings(tmp_path)
    assert [p.name for p in found.spoken["yes"]] == ["a.wav", "b.FLAC"]
    assert set(found.spoken) == {"yes"} and found.noise == {}


def test_default_phrases() -> None:
    from prompter.hear.measure.recordings import Recordings

    def of(*labels: str) -> list[str]:
        return Recordings(Path(), {label: [Path("x")] for label in labels}).default_phrases()

    assert of("go", "no", "silence", "stop", "unknown", "yes") == ["yes", "no", "stop"]
    assert of("go back", "silence", "trach out", "unknown") == ["go back", "trach out"]
    assert of("silence", "unknown") == of() == ["yes", "no", "stop"]


def test_nothing_there_is_one_line(tmp_path) -> None:
    (tmp_path / "spoken-words" / "yes").mkdir(parents=True)
    for folder in (tmp_path, tmp_path / "none"):
        with pytest.raises(CannotDo, match="spoken-words"):
            find_recordings(folder)


def test_a_part_is_spread_over_the_whole() -> None:
    paths = [Path(str(i)) for i in range(100)]
    assert [p.name for p in evenly(paths, 4)] == ["0", "25", "50", "75"]
    assert evenly(paths, 100) == evenly(paths, None) == paths


def test_noise_is_a_kind_or_a_path(tmp_path) -> None:
    hum = wav(tmp_path / "room-noise" / "hum" / "a.wav", tone(1, 0.1))
    found = find_recordings(tmp_path)
    assert noise_files(found, "hum") == noise_files(found, str(hum)) == noise_files(found, str(hum.parent)) == [hum]
    with pytest.raises(CannotDo, match="Did you mean 'hum'"):
        noise_files(found, "humm")


def test_the_speech_level_leaves_pauses_out() -> None:
    """A tone of known RMS with as much silence again: 3 dB lower over all, the same while active."""
    speech = np.concatenate([tone(0.5, 0.1), np.zeros(RATE // 2, np.float32)])
    assert active_rms(speech) == pytest.approx(0.1, rel=0.01)
    assert active_rms(np.zeros(RATE, np.float32)) == active_rms(np.zeros(0, np.float32)) == 0.0


@pytest.mark.parametrize("snr_db", [20.0, 5.0, 0.0, -5.0])
def test_the_ratio_is_rms_of_active_speech_against_rms_of_the_noise(tmp_path, snr_db) -> None:
    hum = wav(tmp_path / "hum.wav", tone(3, 0.3, 100))
    clip = np.concatenate([np.zeros(RATE // 2, np.float32), tone(0.5, 0.05, 1000)])
    mixed = Surroundings([hum], snr_db, 0, 0.01).around(clip, "yes/a.wav")
    under = mixed.copy()
    under[: len(clip)] -= clip
    assert len(mixed) == len(clip) + RATE
    assert 20 * np.log10(0.05 / rms(under)) == pytest.approx(snr_db, abs=0.05)


def test_a_clip_without_speech_gets_the_noise_that_speech_would_have(tmp_path) -> None:
    hum = wav(tmp_path / "hum.wav", tone(3, 0.3, 100))
    around = Surroundings([hum], 10.0, 0, 0.05)
    silence = np.random.default_rng(0).standard_normal(RATE).astype(np.float32) * 1e-4
    mixed = around.around(silence, "silence/a.wav", has_speech=False)
    assert 20 * np.log10(0.05 / rms(mixed)) == pytest.approx(10, abs=0.05)
    assert rms(around.around(np.zeros(RATE, np.float32), "yes/a.wav")) == pytest.approx(rms(mixed), rel=0.01)


def test_the_seed_draws_recording_and_offset_and_nothing_else_does(tmp_path) -> None:
    rng = np.random.default_rng(1)
    files = [wav(tmp_path / f"{i}.wav", rng.standard_normal(2 * RATE).astype(np.float32) * 0.1) for i in range(3)]
    clip = tone(1, 0.05)

    def mixed(seed: int, name: str) -> bytes:
        return Surroundings(files, 5, seed, 0.05).around(clip, name).tobytes()

    assert mixed(1, "yes/a") == mixed(1, "yes/a")
    assert len({mixed(1, "yes/a"), mixed(2, "yes/a"), mixed(1, "yes/b")}) == 3


def test_noise_shorter_than_the_clip_goes_on_and_filled_up_silence_is_left_out(tmp_path) -> None:
    short = np.concatenate([tone(0.3, 0.2, 100), np.zeros(4 * RATE, np.float32)])
    mixed = Surroundings([wav(tmp_path / "s.wav", short)], 0, 0, 0.05).around(tone(1, 0.05), "yes/a")
    behind = mixed[RATE:]
    assert min(rms(part) for part in np.split(behind, 10)) > 0.03


def test_silent_noise_is_one_line(tmp_path) -> None:
    with pytest.raises(CannotDo, match="silent"):
        Surroundings([wav(tmp_path / "s.wav", np.zeros(RATE, np.float32))], 0, 0, 0.05)


def test_loud_mixtures_are_turned_down_not_clipped(tmp_path) -> None:
    hum = wav(tmp_path / "hum.wav", tone(3, 0.3, 100))
    mixed = Surroundings([hum], -20, 0, 0.05).around(tone(1, 0.3), "yes/a")
    assert np.abs(mixed).max() == pytest.approx(1.0) and (np.abs(mixed) > 0.999).mean() < 0.05
