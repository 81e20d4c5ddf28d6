"""Sounds for the hearing's measurements: voices kept apart for fitting and reporting, and mixing."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soxr

from prompter import limits
from prompter.events import Phrase
from prompter.hear.clip import read_clip
from prompter.hear.detector import SpeechDetector
from prompter.hear.endpoint import Endpointer
from prompter.hear.measure.mixing import active_rms
from prompter.hear.measure.recordings import half_of, speaker_of
from prompter.speak.voice import EspeakVoice

# (voice, words a minute, pitch): no voice or accent variant is in both halves.
FIT_VOICES = (
    ("en-us+m3", 165, 50),
    ("en-us+f2", 180, 55),
    ("en-gb+m1", 170, 45),
    ("en-gb-scotland+f3", 175, 50),
)
MORE_FIT_VOICES = (
    ("en-us+f1", 175, 50),
    ("en-gb-scotland+m6", 175, 45),
    ("en-us+Andy", 175, 50),
    ("en-us+Gene", 170, 50),
    ("en-us+f2", 175, 45),
    ("en-gb+Denis", 175, 50),
    ("en-gb+f1", 170, 50),
    ("en-gb+Lee", 175, 50),
    ("en-us+rob", 175, 50),
    ("en-gb-scotland+m1", 175, 50),
    ("en-us+Diogo", 170, 50),
    ("en-gb+f3", 170, 50),
)
"""For what needs many: the weights of the decision."""

REPORT_VOICES = (
    ("en-us", 175, 50),
    ("en-us+f4", 165, 50),
    ("en-gb-x-rp+m5", 185, 50),
    ("en-gb+f5", 170, 55),
    ("en-us+m7", 180, 45),
    ("en-us+Alicia", 170, 50),
    ("en-us-nyc+m4", 175, 40),
    ("en-gb-x-gbclan+f4", 175, 60),
    ("en-029+m2", 165, 50),
    ("en-us+linda", 180, 50),
    ("en-us+Michael", 170, 50),
    ("en-gb-x-rp+belinda", 175, 50),
    ("en-gb-x-gbcwmd+m8", 180, 50),
    ("en-us+steph", 165, 55),
    ("en-us+paul", 175, 50),
    ("en-029+f5", 170, 45),
    ("en-us-nyc+Annie", 185, 50),
    ("en-gb+john", 170, 50),
    ("en-us+aunty", 165, 50),
    ("en-us+adam", 185, 55),
)
LEVEL = 0.05
"""RMS of the active speech: -26 dB of full scale."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """One utterance in its surroundings. `ends_ms`: its last sample above -40 dB of its peak."""

    sound: np.ndarray
    starts_ms: float
    ends_ms: float


@cache
def _voice(name: str, rate_wpm: int, pitch: int) -> EspeakVoice:
    return EspeakVoice(name, rate_wpm, pitch)


def say(text: str, voice: tuple[str, int, int]) -> np.ndarray:
    """float32, mono, 16 kHz."""
    clip = _voice(*voice).render(text)
    return soxr.resample(clip, limits.MIX_RATE_HZ, limits.SAMPLE_RATE_HZ).astype(np.float32)


def in_surroundings(
    clean: np.ndarray,
    noise: np.ndarray | None,
    snr_db: float,
    seed: int,
    before_s: float = 0.5,
    level: float | None = LEVEL,
    dry: np.ndarray | None = None,
) -> Spoken:
    """`clean` at `level`, half a second in, a second and a half of the same surroundings after it.

    SNR: RMS over active speech against the RMS of the noise, which runs from begin to end.
    `level` None leaves the speech as loud as it is; `dry` is the speech without its echo, which
    says when it begins and ends.
    """
    rng = np.random.default_rng(seed)
    if level is not None:
        clean = clean * (level / active_rms(clean))
    before = int(before_s * limits.SAMPLE_RATE_HZ)
    total = before + len(clean) + int(1.5 * limits.SAMPLE_RATE_HZ)
    sound = rng.standard_normal(total).astype(np.float32) * 2e-4  # a quiet room and microphone
    sound[before : before + len(clean)] += clean
    if noise is not None:
        around = np.resize(np.roll(noise, int(rng.integers(len(noise)))), total)
        rms = float(np.sqrt(np.mean(around**2))) + 1e-9
        sound += around * (LEVEL / 10 ** (snr_db / 20) / rms)
    voice = clean if dry is None else dry
    loud = np.flatnonzero(np.abs(voice) > np.abs(voice).max() / 100)
    at_ms = 1000 / limits.SAMPLE_RATE_HZ
    return Spoken(
        sound.astype(np.float32), (before + loud[0]) * at_ms, (before + loud[-1]) * at_ms
    )


def noises(audio: Path, kind: str) -> list[np.ndarray]:
    """All clips of a kind of room noise, 16 kHz."""
    return [read_clip(path) for path in sorted((audio / "room-noise" / kind).glob("*.*"))]


def people(audio: Path, word: str, half: str) -> list[tuple[str, np.ndarray]]:
    """(file name, sound) of one word; `half`: 'fit' or 'report', split by speaker."""
    found = []
    for path in sorted((audio / "spoken-words" / word).glob("*.*")):
        if half_of(speaker_of(word, path.name)) == half:
            found.append((path.name, read_clip(path)))
    return found


def utterances(sound: np.ndarray, detector: SpeechDetector) -> Iterator[tuple[int, int, np.ndarray]]:
    """(first, last sound in ms, sound) as the hearing would score it, ends waited for in full."""
    detector.reset()
    ends, candidate = Endpointer(detector), None
    for start in range(0, len(sound) - limits.BLOCK_SAMPLES + 1, limits.BLOCK_SAMPLES):
        block = sound[start : start + limits.BLOCK_SAMPLES]
        ends.push(block, (start + len(block)) * 1000 // limits.SAMPLE_RATE_HZ)
        if not ends.open:
            continue
        if ends.silent_ms == 0:
            candidate = None
        elif candidate is None and ends.silent_ms >= limits.CANDIDATE_MS:
            if ends.spoken_blocks >= limits.SPOKEN_BLOCKS_MIN:
                candidate = ends.sound()
        too_long = ends.length_ms >= limits.UTTERANCE_MAX_MS
        if too_long or ends.silent_ms >= limits.END_DOUBTED_MS:
            if candidate is not None and not too_long:
                yield ends.onset_ms, ends.last_sound_ms, candidate
            candidate = None
            ends.close()


def allowed_for(
    answer: str | None, every: list[Phrase], seed: int, count: int = 70
) -> list[Phrase]:
    """`count` phrases allowed at once: all of `answer` (none of it when None), others by chance."""
    rng = np.random.default_rng(seed)
    own = [p for p in every if p.answer == answer]
    others = [p for p in every if p.answer != answer]
    order = rng.permutation(len(others))
    return own + [others[i] for i in order[: count - len(own)]]
