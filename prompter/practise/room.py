"""The simulated room: the caregiver's clean voice, laid into real noise at a chosen distance."""

import difflib
from pathlib import Path

import numpy as np
import soundfile
import soxr

from prompter.errors import CannotDo
from prompter.hear.measure.mixing import active_rms
from prompter.limits import SAMPLE_RATE_HZ
from prompter.resources import data_folder

SPEECH_DB = -24.0
"""RMS of the caregiver's active speech, dB of full scale: someone at arm's length."""

FLOOR_DB = -68.0
"""A quiet room is not digital silence."""

def at_speech_level(sound: np.ndarray) -> np.ndarray:
    """The same sound at the level of somebody at arm's length."""
    rms = active_rms(sound)
    return sound if rms == 0 else (sound * (10 ** (SPEECH_DB / 20) / rms)).astype(np.float32)


def last_sound(sound: np.ndarray, below_peak_db: float = 40.0) -> int:
    """Index just after the last sample within `below_peak_db` of the peak."""
    loud = np.flatnonzero(np.abs(sound) > np.max(np.abs(sound), initial=0.0) * 10 ** (-below_peak_db / 20))
    return int(loud[-1]) + 1 if len(loud) else 0


def first_sound(sound: np.ndarray, below_peak_db: float = 40.0) -> int:
    """Index of the first sample within `below_peak_db` of the peak."""
    loud = np.flatnonzero(np.abs(sound) > np.max(np.abs(sound), initial=0.0) * 10 ** (-below_peak_db / 20))
    return int(loud[0]) if len(loud) else 0


class RoomNoise:
    """Endless noise, float32 mono 16 kHz: recorded clips one after the other, or a quiet room.

    `snr_db`: RMS of active speech against RMS of the noise. The generator draws clip and offset.
    Raises CannotDo if there is no such noise.
    """

    def __init__(self, kind: str | None, snr_db: float | None, random: np.random.Generator) -> None:
        self._random = random
        self._clips = [] if kind is None else [_read(path) for path in noise_files(kind)]
        noise_db = FLOOR_DB if snr_db is None or kind is None else SPEECH_DB - snr_db
        self._rms = 10 ** (noise_db / 20)
        self._left = np.zeros(0, np.float32)
        self._first = True

    def take(self, count: int) -> np.ndarray:
        """The next `count` samples."""
        if not self._clips:
            return (self._random.standard_normal(count) * self._rms).astype(np.float32)
        while len(self._left) < count:
            clip = self._clips[int(self._random.integers(len(self._clips)))]
            if self._first:
                clip, self._first = clip[int(self._random.integers(len(clip) // 2)) :], False
            rms = float(np.sqrt(np.mean(clip.astype(np.float64) ** 2))) or 1.0
            self._left = np.concatenate([self._left, (clip * (self._rms / rms)).astype(np.float32)])
        taken, self._left = self._left[:count], self._left[count:]
        return taken


def noise_kinds() -> list[str]:
    """The kinds that come with the program."""
    folder = data_folder("shared") / "audio" / "room-noise"
    return sorted(path.name for path in folder.iterdir() if path.is_dir()) if folder.is_dir() else []


def noise_files(kind: str) -> list[Path]:
    """Sound files of a kind, or below a path. Raises CannotDo."""
    folder = Path(kind) if "/" in kind or Path(kind).is_dir() else data_folder("shared") / "audio" / "room-noise" / kind
    found = sorted(p for p in folder.glob("*") if p.suffix.lower() in (".ogg", ".flac", ".wav")) if folder.is_dir() else []
    if folder.is_file():
        found = [folder]
    if not found:
        close = difflib.get_close_matches(kind, noise_kinds(), n=1)
        mend = f"Did you mean `{close[0]}`?" if close else f"Use one of {', '.join(noise_kinds())}, or a folder of sound files."
        raise CannotDo("there is no such noise.", kind, mend)
    return found


def _read(path: Path) -> np.ndarray:
    try:
        sound, rate = soundfile.read(path, dtype="float32", always_2d=True)
    except (soundfile.SoundFileError, OSError) as error:
        raise CannotDo(f"cannot be read as sound: {error}.", str(path), "Use FLAC, WAV or OGG.") from None
    mono = sound.mean(axis=1)
    if len(mono) < rate // 2 or not np.isfinite(mono).all():
        raise CannotDo("is too short or damaged for noise.", str(path), "Use half a second or more.")
    return np.asarray(soxr.resample(mono, rate, SAMPLE_RATE_HZ), dtype=np.float32)
