"""Minutes of generated household sound, each made anew from its number: no start phrase is in any.

Twenty minutes in a row hold one of each kind as often as KINDS says; voices are REPORT's, which
tuned nothing. Sounds are float32, mono, 16 kHz.
"""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from sounds import LEVEL, REPORT_VOICES, active_rms, noises, people, say
from talk import at_home

from prompter import limits
from prompter.speak import tones

SEED = 7
MINUTE_S = 60
KINDS = (
    "talk", "quiet", "television", "noise", "talk", "crying", "near talk", "noise", "talk", "quiet",
    "words", "television", "talk", "clatter", "crying", "near talk", "talk", "music", "noise", "quiet",
)  # fmt: skip
SPEECH = ("talk", "television", "near talk", "crying", "words")

NEAR = (
    "she had some breathing trouble this morning", "is it breathing trouble again",
    "call me if there is any breathing trouble", "no more breathing trouble today",
    "he has trouble breathing at night", "the breathing is fine", "it was breathing trouble, I think",
    "we had breathing trouble and a lot of trouble with the bus", "double trouble, double trouble",
    "no trouble, no trouble at all", "breathing treatment at ten, breathing treatment at four",
    "what trouble are you in", "keep breathing, keep breathing", "breathing trouble",
    "reading trouble, writing trouble", "heating trouble, the boiler is off again",
    "breathe in, breathe out", "evening trouble with the neighbours",
)  # fmt: skip
"""What a family with a breathing tube may say that is no start: the phrase once, or what sounds like it."""

Rng = np.random.Generator
_RATE = limits.SAMPLE_RATE_HZ
_TOTAL = MINUTE_S * _RATE


def minute(number: int, audio: Path) -> tuple[str, np.ndarray]:
    """(kind, sound) of one minute, over the noise of a quiet room and microphone."""
    kind = KINDS[number % len(KINDS)]
    rng = np.random.default_rng([SEED, number])
    sound = rng.standard_normal(_TOTAL).astype(np.float32) * np.float32(2e-4)
    if kind != "quiet":
        sound += _MAKERS[kind](rng, audio)
    return kind, sound


def _talk(rng: Rng, audio: Path, near: float = 0.0, pause_s: tuple[float, float] = (0.3, 4.0)) -> np.ndarray:
    """Two people 0 to 12 dB below a caregiver's level, half of the minutes with a room's echo."""
    track = np.zeros(_TOTAL, np.float32)
    picks = rng.choice(len(REPORT_VOICES), 2, replace=False)
    at = int(rng.uniform(0, 2) * _RATE)
    while at < _TOTAL:
        name, rate, pitch = REPORT_VOICES[picks[int(rng.integers(2))]]
        voice = name, rate + int(rng.integers(-12, 13)), pitch + int(rng.integers(-8, 9))
        text = NEAR[int(rng.integers(len(NEAR)))] if rng.random() < near else at_home(rng, frozenset())
        clip = say(text, voice)
        clip = clip * (LEVEL / active_rms(clip))
        track[at : at + len(clip)] += clip[: _TOTAL - at]
        at += len(clip) + int(rng.uniform(*pause_s) * _RATE)
    if rng.random() < 0.5:
        track = _echoing(track, rng)
    return track * np.float32(10 ** (-rng.uniform(0, 12) / 20))


def _echoing(track: np.ndarray, rng: Rng) -> np.ndarray:
    """With the tail of a room: decaying noise behind the direct sound (Polack's model), 0.3 to 0.8 s."""
    rt60_s = rng.uniform(0.3, 0.8)
    time_s = np.arange(int(rt60_s * _RATE)) / _RATE
    tail = rng.standard_normal(len(time_s)) * 10 ** (-3 * time_s / rt60_s)
    tail *= 0.7 / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    size = 1 << (len(track) + len(tail)).bit_length()
    spectrum = np.fft.rfft(track, size) * np.fft.rfft(tail, size)
    return np.fft.irfft(spectrum, size)[: len(track)].astype(np.float32)


def _television(rng: Rng, audio: Path) -> np.ndarray:
    """Talk almost without a pause, through a small loudspeaker, music below it."""
    talk = _talk(rng, audio, pause_s=(0.05, 0.6))
    small = talk - np.convolve(talk, np.ones(80, np.float32) / 80, "same").astype(np.float32)
    return small + _music(rng, audio) * np.float32(0.3)


def _music(rng: Rng, audio: Path) -> np.ndarray:
    """Chords and a beat, four notes a second."""
    track = np.zeros(_TOTAL, np.float32)
    step = _RATE // 4
    time_s = np.arange(2 * step) / _RATE
    fade = np.exp(-4 * time_s)
    for at in range(0, _TOTAL - 2 * step, step):
        root_hz = 110 * 2 ** (int(rng.integers(0, 25)) / 12)
        for ratio in (1, 1.25, 1.5, 2, 3):
            track[at : at + 2 * step] += (np.sin(2 * np.pi * root_hz * ratio * time_s) * fade / ratio).astype(np.float32)
    return track * np.float32(LEVEL * 10 ** (-rng.uniform(0, 12) / 20) / (np.sqrt(np.mean(track**2)) + 1e-9))


def _recorded(kinds: tuple[str, ...]) -> Callable[[Rng, Path], np.ndarray]:
    """Recordings one after the other, each at a level of its own."""

    def make(rng: Rng, audio: Path) -> np.ndarray:
        clips = _clips(audio, kinds[int(rng.integers(len(kinds)))])
        parts, length = [], 0
        while length < _TOTAL:
            clip = clips[int(rng.integers(len(clips)))]
            rms = float(np.sqrt(np.mean(clip**2))) + 1e-9
            parts.append(clip * np.float32(LEVEL * 10 ** (rng.uniform(-20, 6) / 20) / rms))
            length += len(clip)
        return np.clip(np.concatenate(parts)[:_TOTAL], -1, 1)

    return make


def _words(rng: Rng, audio: Path) -> np.ndarray:
    """Single words that people said, a second or two apart."""
    track, every = np.zeros(_TOTAL, np.float32), _all_words(audio)
    at = 0
    while at < _TOTAL:
        clip = every[int(rng.integers(len(every)))]
        clip = clip * np.float32(LEVEL / (active_rms(clip) + 1e-9))
        track[at : at + len(clip)] += clip[: _TOTAL - at]
        at += len(clip) + int(rng.uniform(0.0, 1.5) * _RATE)
    return track


def _clatter(rng: Rng, audio: Path) -> np.ndarray:
    """Dishes, doors, steps, an alarm's tones: short bursts of resonances and noise."""
    track = np.zeros(_TOTAL, np.float32)
    at = 0
    while at < _TOTAL - _RATE:
        time_s = np.arange(int(rng.uniform(0.03, 0.8) * _RATE)) / _RATE
        ring = sum(np.sin(2 * np.pi * rng.uniform(80, 5_000) * time_s) for _ in range(4))
        burst = (ring + rng.standard_normal(len(time_s))) * np.exp(-time_s * rng.uniform(6, 60))
        burst *= LEVEL * 10 ** (rng.uniform(-6, 15) / 20)
        track[at : at + len(burst)] += burst.astype(np.float32)
        at += int(rng.uniform(0.1, 3) * _RATE)
    beep = tones.attention(_RATE)
    for at in range(0, _TOTAL - _RATE, 5 * _RATE):
        track[at : at + len(beep)] += beep[: _TOTAL - at]
    return np.clip(track, -1, 1)


@cache
def _clips(audio: Path, kind: str) -> list[np.ndarray]:
    return noises(audio, kind)


@cache
def _all_words(audio: Path) -> list[np.ndarray]:
    folders = sorted(p.name for p in (audio / "spoken-words").iterdir() if p.is_dir() and p.name != "silence")
    return [clip for word in folders for _, clip in people(audio, word, "report")]


_MAKERS: dict[str, Callable[[Rng, Path], np.ndarray]] = {
    "talk": _talk,
    "television": _television,
    "near talk": lambda rng, audio: _talk(rng, audio, near=0.5),
    "crying": _recorded(("baby-cry",)),
    "noise": _recorded(("hiss", "motor", "rumble", "sneeze")),
    "words": _words,
    "clatter": _clatter,
    "music": _music,
}
