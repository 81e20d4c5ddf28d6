"""Lets a sound card pull the mixer, or, where there is none, a clock of the same shape.

Without a loudspeaker the prompts still begin and end in time: the screen shows them, the flow goes
on. Threads: the sound card's own calls `_pull`, which must not block; the stand-in has one thread.
"""

import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.letting_go import close_stream
from prompter.speak.mixer import Mixer

Tap = Callable[[np.ndarray], None]
"""Is given each block as it goes out (float32 mono, at the mixer's rate), for the echo's removal.
Called on the sound card's thread: it may copy and put on a queue, not wait."""


class Output(Protocol):
    """What pulls a mixer."""

    latency_ms: float
    underflows: int

    def start(self) -> None: ...
    def stop(self) -> None: ...
    def failed(self) -> str | None: ...


def _sounddevice() -> Any:
    try:
        import sounddevice
    except OSError as reason:  # the wheel brings no PortAudio on Linux
        raise CannotDo(
            f"sound cannot be played: {reason}.",
            "PortAudio",
            "Install it (Debian and Ubuntu: apt install libportaudio2).",
        ) from None
    return sounddevice


def _device(name: str | int | None) -> dict[str, Any]:
    sounddevice = _sounddevice()
    try:
        return dict(sounddevice.query_devices(name, "output"))
    except (ValueError, sounddevice.PortAudioError) as reason:
        raise CannotDo(
            f"there is no such loudspeaker: {reason}.",
            "default output" if name is None else str(name),
            "Connect one, or name one that 'python -m sounddevice' lists.",
        ) from None


def every_device(kind: str) -> list[int]:
    """The numbers of all devices of a kind ('input', 'output'), for when there is no default one."""
    sounddevice = _sounddevice()
    return [n for n, one in enumerate(sounddevice.query_devices()) if one[f"max_{kind}_channels"] > 0]


def name_of(name: str | int | None) -> str:
    """The device's own name; empty if there is none. Two numbers or aliases may be one device."""
    try:
        return str(_device(name)["name"])
    except CannotDo:
        return ""


def own_rate_hz(name: str | int | None = None) -> int:
    """The output's own sample rate: make the mixer at this one. Raises CannotDo."""
    return round(_device(name)["default_samplerate"])


class Loudspeaker:
    """Plays `mixer` on the default output or the named one (part of a name, or its number).

    A device that does not take the mixer's rate is played at its own (8 kHz too).
    `underflows` counts the blocks that came too late. Raises CannotDo in `start`.
    """

    def __init__(self, mixer: Mixer, name: str | int | None = None, tap: Tap | None = None) -> None:
        self.latency_ms = 0.0
        self.underflows = 0
        self._mixer, self._name, self._tap = mixer, name, tap
        self._stream: Any = None
        self._at_rate: _AtRate | None = None
        self._trouble: str | None = None
        self._pulled_at, self._pulls = 0.0, False
        self.device_name = ""

    def start(self) -> None:
        device = _device(self._name)
        sounddevice = _sounddevice()
        self._trouble, self._pulled_at, self._pulls = None, time.monotonic(), False
        self.device_name = str(device["name"])
        try:
            self._open(device)
        except (ValueError, sounddevice.PortAudioError) as reason:
            self.stop()
            raise CannotDo(
                f"the loudspeaker does not open: {reason}.",
                device["name"],
                "Close other programs that use it, or name another one.",
            ) from None
        self.latency_ms = 1000 * float(self._stream.latency)

    def _open(self, device: dict[str, Any]) -> None:
        """At the mixer's rate; where the device refuses that, at its own."""
        sounddevice = _sounddevice()
        own_hz = round(device["default_samplerate"])
        for rate_hz in dict.fromkeys((self._mixer.rate_hz, own_hz)):
            self._at_rate = None if rate_hz == self._mixer.rate_hz else _AtRate(self._mixer, rate_hz, self._tap)
            try:
                self._stream = sounddevice.OutputStream(
                    samplerate=rate_hz,
                    device=self._name,
                    channels=min(2, device["max_output_channels"]),
                    dtype="float32",
                    latency=limits.OUTPUT_LATENCY_S,
                    callback=self._pull,
                )
                self._stream.start()
                return
            except (ValueError, sounddevice.PortAudioError):
                self.stop()
                if rate_hz == own_hz:
                    raise

    def stop(self) -> None:
        stream, self._stream = self._stream, None
        if stream is not None:
            close_stream(stream)

    def failed(self) -> str | None:
        """What is wrong with it, or None while it plays."""
        if self._trouble:
            return self._trouble
        if self._stream is None:
            return "the loudspeaker is not open"
        if not self._stream.active:
            return "the loudspeaker has stopped"
        if time.monotonic() - self._pulled_at > (limits.OUTPUT_STALL_S if self._pulls else limits.OUTPUT_FIRST_S):
            return "the loudspeaker takes no sound"
        return None

    def _pull(self, out: np.ndarray, frames: int, _time: object, status: Any) -> None:
        """The sound card's callback: fills `out` (frames, channels) and returns. One that was stopped
        and still calls, because closing it hangs, is given silence: another draws the mixer by now."""
        if self._stream is None:
            out.fill(0)
            return
        try:
            self._pulled_at, self._pulls = time.monotonic(), True
            if status.output_underflow:
                self.underflows += 1
            if self._at_rate is not None:
                out[:] = self._at_rate.take(frames)[:, np.newaxis]
                return
            block = self._mixer.render(frames)
            out[:] = block[:, np.newaxis]
            if self._tap:
                self._tap(block)
        except Exception as reason:  # noqa: BLE001 - the watcher learns of it through `failed`
            out.fill(0)
            self._trouble = f"playing failed: {reason}"


class _AtRate:
    """Draws `mixer` for a device of another rate, as many samples as that asks for."""

    def __init__(self, mixer: Mixer, rate_hz: int, tap: Tap | None) -> None:
        import soxr

        self._mixer, self._tap, self._rate_hz = mixer, tap, rate_hz
        self._stream = soxr.ResampleStream(mixer.rate_hz, rate_hz, 1, dtype="float32")
        self._ready = np.zeros(0, np.float32)

    def take(self, frames: int) -> np.ndarray:
        """The next `frames` samples (float32 mono)."""
        while len(self._ready) < frames:
            missing = frames - len(self._ready)
            block = self._mixer.render(-(-missing * self._mixer.rate_hz // self._rate_hz))
            if self._tap:
                self._tap(block)
            made = self._stream.resample_chunk(block)
            self._ready = np.concatenate([self._ready, np.clip(made, -1.0, 1.0)])
        taken, self._ready = self._ready[:frames], self._ready[frames:]
        return taken


class NullLoudspeaker:
    """Pulls `mixer` at the pace of the clock, and plays nothing."""

    def __init__(self, mixer: Mixer, tap: Tap | None = None) -> None:
        self.latency_ms = 0.0
        self.underflows = 0
        self._mixer, self._tap = mixer, tap
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._trouble: str | None = None

    def start(self) -> None:
        self._stop.clear()
        self._trouble = None
        self._thread = threading.Thread(
            target=self._run, args=(time.monotonic(),), name="null loudspeaker", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        if self._thread:
            self._thread.join()
            self._thread = None

    def failed(self) -> str | None:
        """What is wrong with it, or None while it draws."""
        if self._trouble:
            return self._trouble
        return None if self._thread and self._thread.is_alive() else "the stand-in is not running"

    def _run(self, started: float) -> None:
        drawn = 0
        largest = self._mixer.rate_hz  # a second, so that a stop is not kept waiting
        try:
            while not self._stop.wait(limits.NULL_OUTPUT_STEP_S):
                due = int((time.monotonic() - started) * self._mixer.rate_hz)
                while drawn < due and not self._stop.is_set():
                    block = self._mixer.render(min(due - drawn, largest))
                    drawn += len(block)
                    if self._tap:
                        self._tap(block)
        except Exception as reason:  # noqa: BLE001 - the watcher learns of it through `failed`
            self._trouble = f"the stand-in failed: {reason}"
