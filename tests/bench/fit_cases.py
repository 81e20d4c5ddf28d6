"""What the decision is fitted on: answers of real steps, and what is no answer there, in all rooms.

The case with the same half and number is always the same sound.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import rooms
from sounds import (
    FIT_VOICES,
    LEVEL,
    MORE_FIT_VOICES,
    REPORT_VOICES,
    in_surroundings,
    noises,
    people,
    say,
)
from talk import at_home
from wordings import OTHER_TALK, draw, draw_place, known

from prompter.events import Phrase
from prompter.hear.decoys import DECOYS
from prompter.hear.negation import changed
from prompter.hear.shortlist import plain_words

VOICES = {"fit": FIT_VOICES + MORE_FIT_VOICES, "report": REPORT_VOICES}
WORDS = tuple(Phrase(w, w) for w in ("yes", "no", "stop", "done", "help me", "say again", "go back"))
ANSWERS_SHARE = 0.62
SURROUNDINGS = {
    "clean": 0.22, "baby-cry 10": 0.08, "baby-cry 5": 0.2, "baby-cry 0": 0.15,
    "reverberation": 0.2, "hiss 5": 0.05, "motor 5": 0.05, "hiss 0": 0.05,
}  # fmt: skip
"""Noises at so many dB below the speech, and how often."""

Rng = np.random.Generator


@dataclass(frozen=True, slots=True, eq=False)
class FitCase:
    """`answer`: what was given, None for none that is `allowed`. Speech from `starts_ms` on."""

    sound: np.ndarray
    starts_ms: float
    ends_ms: float
    allowed: tuple[Phrase, ...]
    answer: str | None
    about: dict[str, Any]


def fit_case(half: str, number: int, audio: Path) -> FitCase:
    rng = np.random.default_rng([7, half == "report", number])
    name, rate_wpm, pitch = VOICES[half][int(rng.integers(len(VOICES[half])))]
    voice = (name, rate_wpm + int(rng.integers(-12, 13)), pitch + int(rng.integers(-8, 9)))
    kind = "answer"
    if rng.random() >= ANSWERS_SHARE:
        kind = str(rng.choice([*_NO_ANSWER, "noise", "people", "people"]))
    if kind == "noise":
        return _noise(rng, audio)
    where = str(rng.choice(list(SURROUNDINGS), p=list(SURROUNDINGS.values())))
    if kind == "people":
        return _people(half, rng, where, number, audio)
    if kind == "answer":
        place, phrase = draw(rng)
        text, answer = phrase.text, phrase.answer
    else:
        place, answer = draw_place(rng), None
        text = _NO_ANSWER[kind](rng, place.allowed)
    about = {"kind": kind, "said": text, "where": where, "voice": name, "step": place.name}
    return _spoken(say(text, voice), place.allowed, answer, about, rng, number, audio)


def _spoken(
    clip: np.ndarray, allowed: tuple[Phrase, ...], answer: str | None, about: dict[str, Any],
    rng: Rng, number: int, audio: Path,
) -> FitCase:  # fmt: skip
    where, noise, snr_db, dry = about["where"], None, 0, None
    if where == "reverberation":
        rt60_s = rooms.RT60_S[int(rng.integers(len(rooms.RT60_S)))]
        dry = clip
        clip = rooms.in_room(clip, rooms.room(rt60_s, int(rng.integers(rooms.ROOMS_EACH))))
    elif where != "clean":
        kind, below = where.split()
        some = _noises(audio, kind)
        noise, snr_db = some[int(rng.integers(len(some)))], int(below)
    spoken = in_surroundings(clip, noise, snr_db, number, dry=dry)
    return FitCase(spoken.sound, spoken.starts_ms, spoken.ends_ms, allowed, answer, about)


def _people(half: str, rng: Rng, where: str, number: int, audio: Path) -> FitCase:
    """A person's single word, among single words or at a step."""
    some = _single_words(audio, half)
    word, name, clip = some[int(rng.integers(len(some)))]
    allowed = WORDS if rng.random() < 0.6 else draw_place(rng).allowed
    answer = next((p.answer for p in allowed if plain_words(p.text) == word), None)
    about = {"kind": "people", "said": word, "where": where, "voice": name, "step": ""}
    return _spoken(clip, allowed, answer, about, rng, number, audio)


def _noise(rng: Rng, audio: Path) -> FitCase:
    kind = str(rng.choice(["baby-cry", "sneeze", "hiss", "motor", "rumble"], p=[0.45, 0.25, 0.1, 0.1, 0.1]))
    some = _noises(audio, kind)
    if kind == "sneeze":
        some = some[::2]  # the others are measured alone (`cases.py`)
    clip = some[int(rng.integers(len(some)))]
    louder = clip * np.float32(LEVEL / (float(np.sqrt(np.mean(clip**2))) + 1e-9))
    place = draw_place(rng)
    about = {"kind": "noise", "said": kind, "where": kind, "voice": kind, "step": place.name}
    return FitCase(louder, 0.0, 1000 * len(clip) / 16_000, place.allowed, None, about)


@cache
def _noises(audio: Path, kind: str) -> list[np.ndarray]:
    return noises(audio, kind)


@cache
def _single_words(audio: Path, half: str) -> list[tuple[str, str, np.ndarray]]:
    words = ("yes", "no", "stop", "unknown")
    return [(word, name, clip) for word in words for name, clip in people(audio, word, half)]


# ---- no answer ----------------------------------------------------------------------------------


def _other_answer(rng: Rng, allowed: tuple[Phrase, ...]) -> str:
    return _one(rng, [p.text for p in known()], allowed)


def _denied(rng: Rng, allowed: tuple[Phrase, ...]) -> str:
    """An answer with a 'not' more or fewer. After a bare 'no' it is the answer still, emphatic."""
    forms = [c.text for p in allowed for c in changed(p.text) if c.change != "answered no"]
    return _one(rng, forms, allowed)


def _everyday(rng: Rng, allowed: tuple[Phrase, ...]) -> str:
    return _one(rng, DECOYS, allowed)


def _near(rng: Rng, allowed: tuple[Phrase, ...]) -> str:
    return _one(rng, OTHER_TALK, allowed)


def _talk(rng: Rng, allowed: tuple[Phrase, ...]) -> str:
    return at_home(rng, frozenset(plain_words(p.text) for p in known()))


def _one(rng: Rng, texts: list[str] | tuple[str, ...], allowed: tuple[Phrase, ...]) -> str:
    taken = {plain_words(p.text) for p in allowed}
    some = [text for text in texts if plain_words(text) not in taken]
    return some[int(rng.integers(len(some)))]


_NO_ANSWER: dict[str, Callable[[Rng, tuple[Phrase, ...]], str]] = {
    "other answer": _other_answer, "denied": _denied, "everyday": _everyday, "near": _near,
    "talk": _talk,
}  # fmt: skip
