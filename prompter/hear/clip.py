"""Reads a recorded clip and turns it into the blocks that live sound would come in."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.errors import CannotDo

_FORMATS = "Give a FLAC, WAV or OGG file."


def read_clip(path: Path) -> np.ndarray:
    """float32, mono, 16 kHz, whatever the file has. Raises CannotDo."""
    import soundfile
    import soxr

    if not path.is_file():
        raise CannotDo("there is no such sound file.", str(path), "Check the path.")
    try:
        with soundfile.SoundFile(str(path)) as file:
            if file.frames > limits.CLIP_MAX_S * file.samplerate:
                raise CannotDo(
                    f"the clip is longer than {limits.CLIP_MAX_S} s.", str(path), "Cut it."
                )
            sound, rate_hz = file.read(dtype="float32", always_2d=True), file.samplerate
    except (soundfile.SoundFileError, RuntimeError, OSError) as error:
        reason = str(error).rsplit(": ", 1)[-1].strip(" .")
        raise CannotDo(f"cannot be read as sound: {reason}.", str(path), _FORMATS) from None
    mono = sound.mean(axis=1)
    if len(mono) == 0:
        raise CannotDo("holds no sound.", str(path), _FORMATS)
    if not np.isfinite(mono).all():
        raise CannotDo("holds samples that are no numbers.", str(path), "Record it again.")
    if rate_hz != limits.SAMPLE_RATE_HZ:
        mono = soxr.resample(mono, rate_hz, limits.SAMPLE_RATE_HZ)
    return mono.astype(np.float32)


def blocks_of(sound: np.ndarray, padding_s: float = 1.0) -> Iterator[tuple[np.ndarray, int]]:
    """(block, time of its end in ms), with silence behind the sound so that its end is found."""
    size = limits.BLOCK_SAMPLES
    total = len(sound) + int(padding_s * limits.SAMPLE_RATE_HZ)
    padded = np.zeros(-(-total // size) * size, np.float32)
    padded[: len(sound)] = sound
    for start in range(0, len(padded), size):
        yield padded[start : start + size], (start + size) * 1000 // limits.SAMPLE_RATE_HZ
