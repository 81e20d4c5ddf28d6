"""Kept sound on the page: played only if it is what was heard, and never needed."""

import base64
import io

import numpy as np
import pytest
import soundfile

from prompter.journal import read
from prompter.journal.sounds import hash_of
from prompter.review import build, render
from prompter.review.sounds import sounds_of


@pytest.fixture
def with_sound(sample, tmp_path):
    samples = (np.sin(np.arange(8000) / 9) * 9000).astype("<i2")
    story = sample.blocked_tube()
    heard = [e for _, e in story.events if e["kind"] == "heard"]
    for number, event in enumerate(heard[:3]):
        event |= {"sound": f"u{number}.flac", "sound_sha256": hash_of(samples)}
    soundfile.write(tmp_path / "u0.flac", samples, 16000, subtype="PCM_16")
    soundfile.write(tmp_path / "u1.flac", samples // 2, 16000, subtype="PCM_16")
    return story.write(tmp_path / "night.jsonl"), samples


def test_each_sound_is_played_or_says_why_not(with_sound):
    path, samples = with_sound
    found = list(sounds_of(path, read(path).events).values())
    assert [h.why for h in found] == ["", "the sound is not what was heard: left out", "the sound was deleted"]
    data = base64.b64decode(found[0].address.removeprefix("data:audio/flac;base64,"))
    again, rate = soundfile.read(io.BytesIO(data), dtype="int16")
    assert rate == 16000
    assert (again == samples).all()


def test_the_page_plays_it_without_network(with_sound):
    path, _ = with_sound
    reading = read(path)
    page = render(build(reading, "night"), sounds_of(path, reading.events))
    assert page.count("<audio controls") == 1
    assert 'aria-label="What was heard at 0:04"' in page
    assert "media-src data:" in page
    assert "the sound was deleted" in page
    assert "<audio" not in render(build(reading, "night"))
    assert "<audio" not in render(build(reading, "night", anonymous=True), sounds_of(path, reading.events))
