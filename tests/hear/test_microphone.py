"""The sound card's side, with a card that is only pretended."""

import builtins
import sys
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.microphone import Microphone


class PretendedCard:
    """The part of sounddevice that is used. `rates`: those the device accepts."""

    class PortAudioError(Exception):
        pass

    def __init__(self, rates: tuple[int, ...] = (16_000, 48_000)) -> None:
        self.rates = rates
        self.stream: Any = None

    def check_input_settings(self, device: Any, channels: int, samplerate: int) -> None:
        if samplerate not in self.rates:
            raise self.PortAudioError("Invalid sample rate")

    def query_devices(self, device: Any, kind: str) -> dict[str, float]:
        if not self.rates:
            raise ValueError("no input device")
        return {"default_samplerate": float(self.rates[-1])}

    def InputStream(self, **settings: Any) -> Any:  # noqa: N802 - the library's name
        self.settings = settings
        self.stream = SimpleNamespace(start=lambda: None, close=lambda: None)
        return self.stream

    def give(self, sound: np.ndarray, overflow: bool = False) -> None:
        status = SimpleNamespace(input_overflow=overflow)
        self.settings["callback"](sound[:, None], len(sound), None, status)


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> PretendedCard:
    pretended = PretendedCard()
    monkeypatch.setitem(sys.modules, "sounddevice", pretended)
    return pretended


def test_blocks_come_out_as_they_went_in(card: PretendedCard) -> None:
    sound = np.random.default_rng(0).standard_normal(1024).astype(np.float32)
    with Microphone() as microphone:
        card.give(sound[:300])
        card.give(sound[300:])
        assert np.array_equal(microphone.read(0.1), sound[:512])
        assert np.array_equal(microphone.read(0.1), sound[512:])
        assert microphone.read(0.01) is None


def test_the_card_may_reuse_its_buffer(card: PretendedCard) -> None:
    buffer = np.ones(512, np.float32)
    with Microphone() as microphone:
        card.give(buffer)
        buffer[:] = 9
        assert (microphone.read(0.1) == 1).all()


def test_another_rate_is_resampled(card: PretendedCard) -> None:
    card.rates = (48_000,)
    tone = np.sin(2 * np.pi * 440 * np.arange(48_000) / 48_000).astype(np.float32)
    with Microphone() as microphone:
        assert microphone.rate_hz == 48_000
        blocks = []
        for start in range(0, 48_000, 1536):
            card.give(tone[start : start + 1536])
            while (block := microphone.read(0.001)) is not None:
                blocks.append(block)
    sound = np.concatenate(blocks)
    assert all(len(b) == 512 for b in blocks) and len(sound) > 15_000
    spectrum = np.abs(np.fft.rfft(sound[1024:]))
    assert abs(int(spectrum.argmax()) * 16_000 / len(sound[1024:]) - 440) < 3


def test_the_callback_never_waits_and_counts_what_is_lost(card: PretendedCard) -> None:
    with Microphone() as microphone:
        for _ in range(limits.MICROPHONE_QUEUE_BLOCKS + 3):
            card.give(np.zeros(512, np.float32))
        assert microphone.overflows == 3
        card.give(np.zeros(512, np.float32), overflow=True)
        assert microphone.overflows == 5  # lost by the card, and by the full queue


def test_a_microphone_that_stops_by_itself_is_told(card: PretendedCard) -> None:
    with Microphone() as microphone:
        card.settings["finished_callback"]()
        assert microphone.trouble() == ["the microphone stopped by itself"]
    card.settings["finished_callback"]()
    assert microphone.trouble() == []  # closing is no trouble


def test_no_microphone_is_one_clear_line(card: PretendedCard) -> None:
    card.rates = ()
    with pytest.raises(CannotDo) as error:
        Microphone().open()
    assert "microphone" in error.value.one_line() and error.value.mend


def test_no_sound_system_names_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    real_import = builtins.__import__

    def refuse(name: str, *rest: Any, **more: Any) -> Any:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real_import(name, *rest, **more)

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.raises(CannotDo) as error:
        Microphone().open()
    assert "libportaudio2" in error.value.one_line()
