"""Every sound that the hearing is measured with, each made anew from its group and number.

A `Group` is one condition; its case number i is always the same sound, so the first part of a
group is a fair sample of it and an interrupted measurement can go on.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import rooms
from sounds import (
    FIT_VOICES,
    LEVEL,
    MORE_FIT_VOICES,
    REPORT_VOICES,
    Spoken,
    active_rms,
    in_surroundings,
    noises,
    people,
    say,
)
from talk import at_home, operator
from wordings import OTHER_TALK, Place, draw, draw_place, known

from prompter import limits
from prompter.events import Phrase
from prompter.hear.shortlist import plain_words

SEED = 4
VOICES = {"report": REPORT_VOICES, "fit": FIT_VOICES + MORE_FIT_VOICES}
WORDS = [Phrase(w, w) for w in ("yes", "no", "stop", "done", "help me", "say again", "go back")]
PIECE_S = 60
"""Talk comes in pieces of this length."""

STEP_S = 10
"""While others talk, the step (and with it what is allowed) changes this often."""

NOISES = {"crying": "baby-cry", "hiss": "hiss", "motor": "motor", "rumble": "rumble"}
PEOPLE = ("yes", "no", "stop")
NOT_ALLOWED = ("unknown", "down", "go", "left", "off", "on", "right", "up")
Rng = np.random.Generator

_half = "report"


def take(half: str) -> None:
    """From now on the voices and speakers of this half ('report', 'fit'): choices are made on the one
    and reported on the other."""
    global _half
    _half = half


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One sound, and what is listened for in it.

    `expecting`: (from this time in ms, phrases allowed, whether a saturation is asked for).
    `right`: the answer that was given, None if there was none. `lines`: what was said when, for
    talk: (begin ms, end ms, text).
    """

    spoken: Spoken
    said: str
    right: str | None
    expecting: tuple[tuple[int, tuple[Phrase, ...], bool], ...]
    about: dict[str, Any] = field(default_factory=dict)
    lines: tuple[tuple[int, int, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """One condition. `kind` says which figure it belongs to."""

    kind: str
    condition: str
    n: int
    case: Callable[[int], Case]

    @property
    def name(self) -> str:
        return f"{self.kind}: {self.condition}"


def _rng(name: str, number: int) -> Rng:
    return np.random.default_rng([SEED, crc32(name.encode()), number])


def _voice(number: int, rng: Rng) -> tuple[str, int, int]:
    """The voices in turn, each a little faster or slower, higher or lower than its own."""
    voices = VOICES[_half]
    name, rate_wpm, pitch = voices[number % len(voices)]
    return name, rate_wpm + int(rng.integers(-12, 13)), pitch + int(rng.integers(-8, 9))


def _listening(place: Place) -> tuple[tuple[int, tuple[Phrase, ...], bool], ...]:
    return ((0, place.allowed, place.asks_number),)


# ---- the flow's answers -------------------------------------------------------------------------

Surround = Callable[[np.ndarray, Rng, int], tuple[Spoken, dict[str, Any]]]


def _flow_group(condition: str, n: int, surround: Surround) -> Group:
    def case(number: int) -> Case:
        rng = _rng(condition, number)
        voice, (place, phrase) = _voice(number, rng), draw(rng)
        clip = _with_pauses(phrase.text, voice, rng) if condition == "pauses" else None
        clip = say(phrase.text, voice) if clip is None else clip
        spoken, more = surround(clip, rng, number)
        about = {"voice": voice[0], "plan": place.plan, "step": place.name} | more
        return Case(spoken, phrase.text, phrase.answer, _listening(place), about)

    return Group("flow", condition, n, case)


def _with_pauses(text: str, voice: tuple[str, int, int], rng: Rng) -> np.ndarray:
    """Pauses of 150 to 350 ms at one word's end or more; words between pauses stay together."""
    words = text.split()
    if len(words) == 1:
        return say(text, voice)
    cuts = [at for at in range(1, len(words)) if rng.random() < 0.5]
    cuts = cuts or [int(rng.integers(1, len(words)))]
    parts = [" ".join(words[a:b]) for a, b in zip([0, *cuts], [*cuts, len(words)], strict=True)]
    return rooms.with_pauses([say(part, voice) for part in parts], rng)


def _clean(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
    return in_surroundings(clip, None, 0, number), {}


def _noisy(audio: Path, kind: str, snr_db: float) -> Surround:
    def surround(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
        some = _noises(audio, kind)
        return in_surroundings(clip, some[int(rng.integers(len(some)))], snr_db, number), {}

    return surround


def _reverberant(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
    rt60_s = rooms.RT60_S[int(rng.integers(len(rooms.RT60_S)))]
    echo = rooms.in_room(clip, rooms.room(rt60_s, int(rng.integers(rooms.ROOMS_EACH))))
    return in_surroundings(echo, None, 0, number, dry=clip), {"rt60_s": rt60_s}


def _quieter(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
    return in_surroundings(clip, None, 0, number, level=LEVEL / 10), {}


def _shouted(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
    return in_surroundings(rooms.overloaded(clip, 12), None, 0, number, level=None), {}


def _beside_operator(below_db: float) -> Surround:
    def surround(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
        before_s = float(rng.uniform(0.5, 2.5))
        spoken = in_surroundings(clip, None, 0, number, before_s)
        voice = _voice(number + len(VOICES[_half]) // 2, rng)
        track, lines = _talk(operator, [voice], len(spoken.sound), rng, telephone=True)
        spoken.sound[:] += track * np.float32(10 ** (-below_db / 20))
        return spoken, {"operator": " / ".join(text for _, _, text in lines)}

    return surround


def _while_paced(clip: np.ndarray, rng: Rng, number: int) -> tuple[Spoken, dict[str, Any]]:
    spoken = in_surroundings(clip, None, 0, number)
    what = ("breaths", "pushes", "suction")[int(rng.integers(3))]
    spoken.sound[:] += rooms.pacing(what, len(spoken.sound), LEVEL * 2**0.5, rng)
    return spoken, {"pace": what}


def flow_groups(audio: Path, n: int = 1500) -> list[Group]:
    """Answers of real steps by synthetic voices, in every surrounding."""
    surrounds: dict[str, Surround] = {"clean": _clean, "pauses": _clean}
    for name, kind in NOISES.items():
        for snr_db in (20, 10, 5, 0):
            surrounds[f"{name} {snr_db} dB"] = _noisy(audio, kind, snr_db)
    surrounds |= {
        "reverberation": _reverberant, "20 dB quieter": _quieter, "shouted": _shouted,
        "operator 10 dB below": _beside_operator(10), "operator as loud": _beside_operator(0),
        "pacing tones": _while_paced,
    }  # fmt: skip
    return [_flow_group(name, n, surround) for name, surround in surrounds.items()]


def timing_group(audio: Path, n: int = 300) -> Group:
    """What times are measured on, alone on the machine: clean, pausing and in crying at 5 dB."""
    some = [g for g in flow_groups(audio) if g.condition in ("clean", "pauses", "crying 5 dB")]
    return Group("timing", "two cores", n, lambda number: some[number % 3].case(10_000 + number))


# ---- people -------------------------------------------------------------------------------------


@cache
def _noises(audio: Path, kind: str) -> list[np.ndarray]:
    return noises(audio, kind)


@cache
def _people(audio: Path, words: tuple[str, ...]) -> list[tuple[str, str, np.ndarray]]:
    """(word, file, sound) of the half's speakers, in an order that mixes words and speakers."""
    found = [(word, name, clip) for word in words for name, clip in people(audio, word, _half)]
    order = np.random.default_rng(SEED).permutation(len(found))
    return [found[at] for at in order]


def _people_group(
    audio: Path, kind: str, words: tuple[str, ...], crying: bool, allowed: str
) -> Group:
    clips = _people(audio, words)
    condition = "crying 5 dB" if crying else "clean"

    def case(number: int) -> Case:
        word, name, clip = clips[number]
        rng = _rng(f"{kind} {condition}", number)
        noise = _noises(audio, "baby-cry") if crying else None
        noise = noise[int(rng.integers(len(noise)))] if noise else None
        spoken = in_surroundings(clip, noise, 5, number)
        right = word if word in PEOPLE and allowed == "words" else None
        place = draw_place(rng)
        expecting = ((0, tuple(WORDS), False),) if allowed == "words" else _listening(place)
        return Case(spoken, word, right, expecting, {"voice": name, "step": place.name})

    return Group(kind, condition, len(clips), case)


def people_groups(audio: Path) -> list[Group]:
    """Single words: those allowed, those not allowed, and any word while a real step is asked."""
    every = (*PEOPLE, *NOT_ALLOWED)
    return [
        _people_group(audio, kind, words, crying, allowed)
        for kind, words, allowed in (
            ("people", PEOPLE, "words"), ("unknown words", NOT_ALLOWED, "words"),
            ("any word at a step", every, "flow"), ("silence", ("silence",), "words"),
        )
        for crying in ((False,) if kind == "silence" else (False, True))
    ]  # fmt: skip


# ---- no answer at all ---------------------------------------------------------------------------


def noise_group(audio: Path) -> Group:
    """All room noise, each clip while a real step is listened at."""
    clips = [(kind, clip) for kind in (*NOISES.values(), "sneeze") for clip in _noises(audio, kind)]
    order = np.random.default_rng(SEED).permutation(len(clips))

    def case(number: int) -> Case:
        kind, clip = clips[order[number]]
        place = draw_place(_rng("noise", number))
        louder = np.float32(LEVEL / (float(np.sqrt(np.mean(clip**2))) + 1e-9))
        return Case(Spoken(clip * louder, 0, 0), kind, None, _listening(place), {"step": place.name})

    return Group("room noise", "alone", len(clips), case)


def near_group(n: int = 1000) -> Group:
    """Sentences that are no answer but near to one, while a real step is listened at."""
    never = {plain_words(p.text) for p in known()}
    some = [text for text in OTHER_TALK if plain_words(text) not in never]

    def case(number: int) -> Case:
        rng = _rng("near", number)
        voice, place = _voice(number, rng), draw_place(rng)
        text = some[int(rng.integers(len(some)))]
        spoken = in_surroundings(say(text, voice), None, 0, number)
        return Case(spoken, text, None, _listening(place), {"voice": voice[0], "step": place.name})

    return Group("near to answers", "clean", n, case)


def talk_groups() -> list[Group]:
    """Three hours of people's talk, and one of an operator's voice on the telephone."""
    return [
        Group("talk", "others at home", 180, lambda number: _talk_case("home", number)),
        Group("talk", "operator on the speaker", 60, lambda number: _talk_case("operator", number)),
    ]


def _talk_case(who: str, number: int) -> Case:
    """A minute of it: two people 0 to 12 dB below the caregiver's level, every other in a room."""
    rng = _rng(f"talk {who}", number)
    total = PIECE_S * limits.SAMPLE_RATE_HZ
    voices = [_voice(number, rng), _voice(number + 7, rng)]
    by_telephone = who == "operator"
    if by_telephone:
        voices = voices[:1]
    rule = operator if by_telephone else at_home
    track, lines = _talk(rule, voices, total, rng, by_telephone)
    track = track * np.float32(10 ** (-rng.uniform(0, 12) / 20))
    if number % 2:
        rt60_s = rooms.RT60_S[number // 2 % len(rooms.RT60_S)]
        response = rooms.room(rt60_s, number % rooms.ROOMS_EACH)
        echo = rooms.in_room(track, response)[:total]
        track = echo * np.float32(active_rms(track) / active_rms(echo))
    track = track + rng.standard_normal(total).astype(np.float32) * np.float32(2e-4)
    steps = [draw_place(rng) for _ in range(PIECE_S // STEP_S)]
    expecting = tuple(
        (at * STEP_S * 1000, place.allowed, place.asks_number) for at, place in enumerate(steps)
    )
    about = {"seconds": PIECE_S, "voice": voices[0][0], "step": ", ".join(p.name for p in steps)}
    return Case(Spoken(track, 0, 0), "talk", None, expecting, about, tuple(lines))


def _talk(
    rule: Callable[[Rng, frozenset[str]], str],
    voices: list[tuple[str, int, int]],
    total: int,
    rng: Rng,
    telephone: bool,
) -> tuple[np.ndarray, list[tuple[int, int, str]]]:
    """Sentences at LEVEL with 0.3 to 1.5 s between them; (sound, [(begin ms, end ms, text)])."""
    never = frozenset(plain_words(p.text) for p in known())
    track, lines = np.zeros(total, np.float32), []
    at = int(rng.uniform(0, 1.0) * limits.SAMPLE_RATE_HZ)
    while at < total:
        text = rule(rng, never)
        clip = say(text, voices[int(rng.integers(len(voices)))])
        clip = rooms.by_telephone(clip) if telephone else clip
        clip = clip * (LEVEL / active_rms(clip))
        track[at : at + len(clip)] += clip[: total - at]
        lines.append((at // 16, (at + len(clip)) // 16, text))
        at += len(clip) + int(rng.uniform(0.3, 1.5) * limits.SAMPLE_RATE_HZ)
    return track, lines


def groups(audio: Path) -> dict[str, Group]:
    """All but the timing, by name."""
    every = [
        *people_groups(audio), *flow_groups(audio), near_group(), *talk_groups(),
        noise_group(audio),
    ]  # fmt: skip
    return {group.name: group for group in every}
