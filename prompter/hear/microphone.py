"""Brings live sound from the sound card, as the blocks that `Hearing` takes.

Threads: the sound card's own calls `_take`, which copies, puts on a bounded queue without waiting
and returns; `read` is called by one reader, may wait, and resamples there.
"""

import contextlib
import queue
from types import TracebackType
from typing import Any, Self

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.letting_go import close_stream


class Microphone:
    """The default input, or the one named. Use as a context manager.

    `overflows`: blocks lost because nobody took them in time, or lost by the sound card.
    """

    def __init__(self, device: str | int | None = None) -> None:
        self._device = device
        self._queue: queue.Queue[np.ndarray] = queue.Queue(limits.MICROPHONE_QUEUE_BLOCKS)
        self._stream: Any = None
        self._resampler: Any = None
        self._rest = np.zeros(0, np.float32)
        self._trouble: list[str] = []
        self._closing = False
        self.overflows = 0
        self.rate_hz = limits.SAMPLE_RATE_HZ

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def open(self) -> None:
        """Start listening. Raises CannotDo without a sound system or a microphone."""
        sound = _sounddevice()
        try:
            self.rate_hz, channels = self._usable(sound)
            if self.rate_hz != limits.SAMPLE_RATE_HZ:
                import soxr

                self._resampler = soxr.ResampleStream(
                    self.rate_hz, limits.SAMPLE_RATE_HZ, 1, dtype="float32", quality="MQ"
                )
            self._stream = sound.InputStream(
                samplerate=self.rate_hz,
                device=self._device,
                channels=channels,
                dtype="float32",
                blocksize=self.rate_hz * limits.BLOCK_SAMPLES // limits.SAMPLE_RATE_HZ,
                latency="low",
                callback=self._take,
                finished_callback=self._finished,
            )
            self._stream.start()
        except (sound.PortAudioError, ValueError) as error:
            raise CannotDo(
                f"the microphone cannot be opened: {error}.",
                str(self._device or "default input"),
                "Plug one in and allow its use, or name another; keys work without it.",
            ) from None

    def _usable(self, sound: Any) -> tuple[int, int]:
        """Rate and channels: 16 kHz and one where the device can; otherwise its own, the channels mixed
        down. Its own are taken untried: opening tells what is wrong."""
        device = sound.query_devices(self._device, "input")
        own_hz, own_channels = int(device["default_samplerate"]), int(device.get("max_input_channels", 1))
        for channels in dict.fromkeys((1, min(2, max(1, own_channels)), max(1, own_channels))):
            for rate_hz in (limits.SAMPLE_RATE_HZ, own_hz):
                with contextlib.suppress(sound.PortAudioError, ValueError):
                    sound.check_input_settings(device=self._device, channels=channels, samplerate=rate_hz)
                    return rate_hz, channels
        return own_hz, 1

    def read(self, timeout_s: float = limits.MICROPHONE_SILENT_S) -> np.ndarray | None:
        """The next float32[512] block; None when none came in `timeout_s` (then see `trouble`)."""
        while len(self._rest) < limits.BLOCK_SAMPLES:
            try:
                sound = self._queue.get(timeout=timeout_s)
            except queue.Empty:
                return None
            if self._resampler is not None:
                sound = self._resampler.resample_chunk(sound)
            self._rest = np.concatenate([self._rest, sound])
        block = self._rest[: limits.BLOCK_SAMPLES]
        self._rest = self._rest[limits.BLOCK_SAMPLES :]
        return block

    def trouble(self) -> list[str]:
        """What went wrong since the last call, such as a microphone that was pulled out."""
        found, self._trouble = self._trouble, []
        return found

    def close(self) -> None:
        """Stop listening. Never raises, and does not wait for a driver that hangs: it runs when
        everything else may have failed."""
        self._closing = True
        stream, self._stream = self._stream, None
        if stream is not None and not close_stream(stream):
            self._trouble.append("the microphone did not close")

    def _take(self, data: np.ndarray, frames: int, time: Any, status: Any) -> None:
        if status and status.input_overflow:
            self.overflows += 1
        try:
            self._queue.put_nowait(data[:, 0].copy() if data.shape[1] == 1 else data.mean(axis=1))
        except queue.Full:
            self.overflows += 1

    def _finished(self) -> None:
        if not self._closing:
            self._trouble.append("the microphone stopped by itself")


def _sounddevice() -> Any:
    try:
        import sounddevice
    except OSError as error:  # the wheel brings no PortAudio on Linux
        raise CannotDo(
            f"the microphone cannot be used: {error}.",
            "PortAudio",
            "Install it (Debian and Ubuntu: apt install libportaudio2).",
        ) from None
    return sounddevice
