"""The sound beside the journal may be deleted without a trace in the chain; changed sound shows."""

import hashlib
import os
import stat
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile

from prompter.journal import Journal, check_sounds, read
from prompter.journal.sounds import samples_16_bit
from prompter.limits import SAMPLE_RATE_HZ
from prompter.live.keep_sound import SoundKeeper

NOW = datetime(2026, 3, 14, 2, 41, tzinfo=UTC)
SOUND = np.sin(np.arange(SAMPLE_RATE_HZ) / 20).astype(np.float32) * 1.1


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """Two utterances with their sound, written as the live program does."""
    path = tmp_path / "night.jsonl"
    writer = Journal.create(path, {"kind": "opened"}, NOW)
    keeper = SoundKeeper(lambda: path)
    for number in (1, 2):
        writer.append({"kind": "heard", **keeper.keep(number, SOUND / number)}, NOW, number)
    writer.close()
    end = time.monotonic() + 10
    while time.monotonic() < end and check_sounds(path, read(path).events).there < 2:
        time.sleep(0.05)
    return path


def test_the_hash_is_that_of_the_samples_another_library_reads(journal: Path) -> None:
    event = read(journal).events[1]
    samples, rate = soundfile.read(journal.parent / event["sound"], dtype="int16")
    assert rate == SAMPLE_RATE_HZ and len(samples) == len(SOUND)
    assert hashlib.sha256(samples.astype("<i2").tobytes()).hexdigest() == event["sound_sha256"]
    assert soundfile.info(journal.parent / event["sound"]).subtype == "PCM_16"


@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_only_its_owner_can_read_it(journal: Path) -> None:
    folder = journal.with_name("night-sound")
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(p.stat().st_mode) for p in folder.iterdir()} == {0o600}


def test_deleted_sound_is_no_damage(journal: Path) -> None:
    (journal.parent / "night-sound" / "001.flac").unlink()
    sounds = check_sounds(journal, read(journal).events)
    assert (sounds.there, sounds.deleted, sounds.changed) == (1, 1, [])
    assert read(journal).intact


@pytest.mark.parametrize("how", ["another's", "not sound"])
def test_changed_sound_shows(journal: Path, how: str) -> None:
    path = journal.parent / "night-sound" / "002.flac"
    if how == "another's":
        soundfile.write(path, samples_16_bit(SOUND), SAMPLE_RATE_HZ, "PCM_16")
    else:
        path.write_bytes(b"junk")
    assert check_sounds(journal, read(journal).events).changed == ["night-sound/002.flac"]


def test_loud_and_odd_samples_are_kept_within_16_bits() -> None:
    given = np.array([-2.0, -1.0, 0.0, 1.0, 2.0], np.float32)
    assert samples_16_bit(given).tolist() == [-32768, -32767, 0, 32767, 32767]
