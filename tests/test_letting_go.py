"""A driver that hangs in closing holds nobody up."""

import threading
import time
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from prompter import letting_go, limits
from prompter.hear.microphone import Microphone
from prompter.live import soundcard
from prompter.speak.loudspeaker import Loudspeaker


class Stream:
    """Closes once `lets` is set, or at once; raises if told to."""

    def __init__(self, hangs: bool = False, raises: bool = False) -> None:
        self.lets, self.closed, self._raises = threading.Event(), False, raises
        if not hangs:
            self.lets.set()

    def close(self) -> None:
        self.lets.wait()
        self.closed = True
        if self._raises:
            raise OSError("unplugged")


@pytest.fixture
def hung(monkeypatch: pytest.MonkeyPatch) -> Iterator[Stream]:
    monkeypatch.setattr(limits, "STREAM_CLOSE_S", 0.05)
    stream = Stream(hangs=True)
    yield stream
    stream.lets.set()
    until_none_hangs()


def until_none_hangs() -> None:
    end = time.monotonic() + 5
    while letting_go.hanging():
        assert time.monotonic() < end
        time.sleep(0.005)


def test_a_stream_is_closed_and_what_it_raises_is_past() -> None:
    for stream in (Stream(), Stream(raises=True)):
        assert letting_go.close_stream(stream) and stream.closed
    assert letting_go.hanging() == 0


def test_one_that_hangs_is_left_to_itself(hung: Stream) -> None:
    assert not letting_go.close_stream(hung)
    assert letting_go.hanging() == 1 and not hung.closed
    hung.lets.set()
    until_none_hangs()
    assert hung.closed


def test_a_system_without_threads_is_no_reason_to_raise(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", refuse)
    assert not letting_go.close_stream(Stream())
    assert letting_go.hanging() == 0


def test_a_loudspeaker_that_hangs_is_stopped_and_gets_silence(hung: Stream) -> None:
    class Mixer:
        rate_hz = 22_050

        def render(self, frames: int) -> np.ndarray:
            return np.full(frames, 0.5, np.float32)

    class Status:
        output_underflow = False

    speaker = Loudspeaker(Mixer())  # type: ignore[arg-type]
    speaker._stream = hung
    out = np.full((64, 2), 9, np.float32)
    speaker._pull(out, 64, None, Status())
    assert out.min() == 0.5
    speaker.stop()
    speaker._pull(out, 64, None, Status())
    assert not out.any()
    assert speaker.failed() == "the loudspeaker is not open"


def test_a_microphone_that_hangs_is_closed_for_us(hung: Stream) -> None:
    microphone = Microphone()
    microphone._stream = hung
    microphone.close()
    assert microphone.trouble() == ["the microphone did not close"]


def test_the_sound_library_is_not_begun_anew_while_one_hangs(hung: Stream, monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    begun: list[str] = []

    class Library:
        def _terminate(self) -> None:
            begun.append("ended")

        def _initialize(self) -> None:
            begun.append("begun")

    library: Any = Library()
    monkeypatch.setitem(sys.modules, "sounddevice", library)
    monkeypatch.setattr(soundcard, "_looked", True)
    letting_go.close_stream(hung)
    soundcard._look_again()
    assert begun == []
    hung.lets.set()
    until_none_hangs()
    soundcard._look_again()
    assert begun == ["ended", "begun"]
