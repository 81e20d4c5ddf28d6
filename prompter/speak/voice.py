"""What turns a text into sound. The embedded voice works everywhere, offline, from the package."""

import re
from typing import Protocol

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.speak import espeak
from prompter.speak.engine_library import data_folder
from prompter.speak.trim import TRIM_VERSION, trimmed

# By the embedded ear's judgement (tests/bench/bench_voice.py: 24 prompts in crying and in a motor's
# noise at 0 dB) 120 to 200 words a minute are understood alike, within the error of measurement;
# of the voices and pitches tried none is better than these. Slower only makes every reply longer.
DEFAULT_VOICE = "en-us"
DEFAULT_RATE_WPM = 160
DEFAULT_PITCH = 50

_ALIASES = {"en-gb": "gmw/en"}  # the engine knows British English only by its file's name
_ENGLISH = (
    "en-us",
    "en-gb",
    "en-gb-scotland",
    "en-gb-x-rp",
    "en-gb-x-gbclan",
    "en-gb-x-gbcwmd",
    "en-us-nyc",
    "en-029",
)
_VARIANTS = ("f1", "f2", "f3", "f4", "f5", "m1", "m2", "m3", "m4", "m5", "m6", "m7", "m8")


class Voice(Protocol):
    """A voice with fixed settings. `name` and `version` together say how it sounds."""

    name: str
    version: str

    def render(self, text: str) -> np.ndarray:
        """float32 mono at `limits.MIX_RATE_HZ`, trimmed. Raises CannotDo."""
        ...


def list_voices() -> list[str]:
    """English voices for `EspeakVoice`: accents alone, then each with every variant ('en-us+f3').

    Other languages ('ko') and any further variant in the engine's own folder are accepted as well.
    """
    return [*_ENGLISH, *(f"{accent}+{variant}" for accent in _ENGLISH for variant in _VARIANTS)]


def engine_voice(voice: str, rate_wpm: int, pitch: int) -> str:
    """The engine's own name for `voice`. Raises CannotDo if it has none, for settings out of range,
    or for a missing engine."""
    for value, (low, high), what in (
        (rate_wpm, espeak.RATE_WPM_RANGE, "words a minute"),
        (pitch, espeak.PITCH_RANGE, "pitch"),
    ):
        if not low <= value <= high:
            raise CannotDo(f"{value} {what} is out of range.", voice, f"Use {low} to {high}.")
    accent, plus, variant = voice.partition("+")
    engine_name = _ALIASES.get(accent, accent) + plus + variant
    # The engine itself passes over a variant that it does not have, and reads any file as one.
    plain = re.fullmatch(r"[\w/-]+(\+[\w -]+)?", voice) is not None
    has_variant = not plus or (data_folder() / "voices" / "!v" / variant).is_file()
    if not (plain and has_variant and espeak.knows(engine_name)):
        raise CannotDo("there is no such voice.", voice, "Use one such as en-us or en-gb+f3.")
    return engine_name


class EspeakVoice:
    """espeak-ng with one voice, rate and pitch. The same text gives the same samples, always.

    `rate_wpm` 80 to 450 words a minute, `pitch` 0 to 100 (50 is the voice's own). Raises CannotDo
    for an unknown voice, a setting out of range, or a missing engine. Safe from several threads
    and processes: threads take turns, processes do not meet.
    """

    def __init__(
        self,
        voice: str = DEFAULT_VOICE,
        rate_wpm: int = DEFAULT_RATE_WPM,
        pitch: int = DEFAULT_PITCH,
    ) -> None:
        self._engine_name = engine_voice(voice, rate_wpm, pitch)
        self._rate_wpm, self._pitch = rate_wpm, pitch
        self.name = f"{voice} {rate_wpm} wpm pitch {pitch}"
        self.version = f"espeak-ng {espeak.engine_version()}, trim {TRIM_VERSION}"

    def render(self, text: str) -> np.ndarray:
        """float32 mono at `limits.MIX_RATE_HZ`, trimmed. Raises CannotDo, also for a text that has
        nothing to be spoken."""
        raw = espeak.speak(text, self._engine_name, self._rate_wpm, self._pitch)
        clip = trimmed(raw, espeak.ENGINE_RATE_HZ)
        if not len(clip):
            raise CannotDo("there is nothing to speak in this text.", repr(text))
        return clip


if espeak.ENGINE_RATE_HZ != limits.MIX_RATE_HZ:
    raise ImportError("the mixer's rate must be the embedded voice's own")
