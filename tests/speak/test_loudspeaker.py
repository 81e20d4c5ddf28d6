"""What pulls the mixer: a sound card (played by a stand-in module), or the clock without one."""

import builtins
import sys
import time
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Say
from prompter.speak import loudspeaker
from prompter.speak.loudspeaker import Loudspeaker, NullLoudspeaker, own_rate_hz
from prompter.speak.mixer import Mixer, PromptEndedAt

RATE_HZ = 48_000
FINE = SimpleNamespace(output_underflow=False)
LATE = SimpleNamespace(output_underflow=True)


class PortAudioError(Exception):
    pass


class Stream:
    """Stands for an open stream of the sound library: the test calls its callback."""

    def __init__(self, **settings: Any) -> None:
        self.settings, self.callback = settings, settings["callback"]
        self.active, self.latency, self.closed = False, 0.012, False

    def start(self) -> None:
        self.active = True

    def close(self, ignore_errors: bool = True) -> None:
        self.active, self.closed = False, True


class Card:
    """Stands for the sound library, with one device of two channels or none."""

    PortAudioError = PortAudioError

    def __init__(self) -> None:
        self.channels, self.opens, self.streams = 2, True, []  # type: ignore[var-annotated]

    def query_devices(self, name: str | None, kind: str) -> dict[str, Any]:
        if name not in (None, "speaker") or self.channels == 0:
            raise ValueError(f"No {kind} device matching {name!r}")
        return {
            "name": "speaker",
            "default_samplerate": float(RATE_HZ),
            "max_output_channels": self.channels,
        }

    def OutputStream(self, **settings: Any) -> Stream:
        if not self.opens:
            raise PortAudioError("Device unavailable")
        self.streams.append(Stream(**settings))
        return self.streams[-1]


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> Card:
    card = Card()
    monkeypatch.setitem(sys.modules, "sounddevice", card)  # type: ignore[arg-type]
    return card


def speaking_mixer(rate_hz: int = RATE_HZ) -> Mixer:
    mixer = Mixer(rate_hz, lambda text: np.full(2_205, 0.5, np.float32))
    mixer.enqueue(Say(0, 7, "Bag off.", "care", "bag"))
    return mixer


def pull(stream: Stream, frames: int, status: Any = FINE) -> np.ndarray:
    out = np.full((frames, stream.settings["channels"]), 9, np.float32)
    stream.callback(out, frames, None, status)
    return out


def test_the_card_pulls_the_mixer_at_its_own_rate(card: Card) -> None:
    heard: list[np.ndarray] = []
    mixer = speaking_mixer(own_rate_hz())
    speaker = Loudspeaker(mixer, tap=heard.append)
    assert speaker.failed() == "the loudspeaker is not open"
    speaker.start()
    assert speaker.failed() is None and speaker.latency_ms == pytest.approx(12)
    (stream,) = card.streams
    assert stream.settings["samplerate"] == RATE_HZ and stream.settings["channels"] == 2
    out = pull(stream, 480)
    assert np.abs(out).max() > 0.3 and np.array_equal(out[:, 0], out[:, 1])
    assert np.array_equal(heard[0], out[:, 0]) and mixer.position == 480
    pull(stream, 480, LATE)
    assert speaker.underflows == 1
    speaker.stop()
    assert stream.closed and speaker.failed() is not None
    speaker.stop()


def test_a_card_of_one_channel(card: Card) -> None:
    card.channels = 1
    Loudspeaker(speaking_mixer(), "speaker").start()
    assert pull(card.streams[0], 100).shape == (100, 1)


def test_an_error_in_the_callback_is_silence_and_reaches_the_watcher(card: Card) -> None:
    def broken(block: np.ndarray) -> None:
        raise ValueError("no reference")

    speaker = Loudspeaker(speaking_mixer(), tap=broken)
    speaker.start()
    assert np.abs(pull(card.streams[0], 64)).max() == 0
    assert "no reference" in (speaker.failed() or "")


def test_a_card_that_stops_or_takes_no_sound_has_failed(
    card: Card, monkeypatch: pytest.MonkeyPatch
) -> None:
    speaker = Loudspeaker(speaking_mixer())
    speaker.start()
    later = time.monotonic() + limits.OUTPUT_STALL_S + 0.1
    monkeypatch.setattr(loudspeaker.time, "monotonic", lambda: later)
    assert speaker.failed() == "the loudspeaker takes no sound"
    pull(card.streams[0], 64)
    assert speaker.failed() is None
    card.streams[0].active = False
    assert speaker.failed() == "the loudspeaker has stopped"


def test_no_device_and_a_busy_one_say_how_to_mend_it(card: Card) -> None:
    with pytest.raises(CannotDo, match="no such loudspeaker.*Mend"):
        Loudspeaker(speaking_mixer(), "kitchen").start()
    card.opens = False
    speaker = Loudspeaker(speaking_mixer())
    with pytest.raises(CannotDo, match="does not open: Device unavailable.*Mend"):
        speaker.start()
    card.channels = 0
    with pytest.raises(CannotDo, match="default output"):
        own_rate_hz()


def test_a_missing_sound_library_names_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real(name, *rest, **more)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(CannotDo, match="apt install libportaudio2") as caught:
        own_rate_hz()
    assert "\n" not in str(caught.value)


def test_importing_the_room_needs_no_sound_library() -> None:
    import subprocess

    program = (
        "import sys\nimport prompter.speak.loudspeaker, prompter.speak.clips\n"
        "print('sounddevice' in sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    assert ran.stdout == b"False\n"


def test_without_a_card_time_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock is the test's own, so that nothing here depends on how busy the machine is."""
    clock = {"now": 100.0}
    monkeypatch.setattr(loudspeaker, "time", SimpleNamespace(monotonic=lambda: clock["now"]))
    mixer, heard = speaking_mixer(), []  # type: ignore[var-annotated]
    output = NullLoudspeaker(mixer, tap=heard.append)
    assert output.failed() is not None and output.latency_ms == 0
    output.start()
    assert output.failed() is None
    clock["now"] += 1 / 16
    wait_for(lambda: mixer.position == RATE_HZ // 16)
    assert mixer.speaking
    clock["now"] += 3.25  # the computer slept: it catches up, in blocks
    slept = RATE_HZ // 16 + round(3.25 * RATE_HZ)
    wait_for(lambda: mixer.position == slept)
    output.stop()
    assert mixer.take_reports()[-1] == PromptEndedAt(7, 4_800)
    assert sum(len(block) for block in heard) == mixer.position
    assert max(len(block) for block in heard) <= RATE_HZ
    clock["now"] += 5
    assert output.failed() is not None and mixer.position == slept


def test_the_stand_in_can_start_again_and_tells_what_broke_it() -> None:
    mixer = speaking_mixer()
    output = NullLoudspeaker(mixer)
    output.start()
    wait_for(lambda: mixer.position > 0)
    output.stop()
    at = mixer.position
    output.start()
    wait_for(lambda: mixer.position > at)
    output.stop()
    broken = NullLoudspeaker(speaking_mixer(), tap=lambda block: 1 / 0)  # type: ignore[arg-type,return-value]
    broken.start()
    wait_for(lambda: "division" in (broken.failed() or ""))
    broken.stop()


def wait_for(holds: Any) -> None:
    """Wait until `holds()`, for ten seconds at the most: far longer than any step here takes."""
    for _ in range(2_000):
        if holds():
            return
        _real_sleep(0.005)
    pytest.fail("it never happened")


_real_sleep = time.sleep
