"""Clips, cues and reports for the tests of the mixer."""


import numpy as np

from prompter import limits
from prompter.events import Pace, Say
from prompter.speak.mixer import Beat, Mixer, PromptEndedAt, Report

RATE_HZ = limits.MIX_RATE_HZ
GAP = RATE_HZ * 120 // 1000
FADE = RATE_HZ * 20 // 1000


def clip_of(text: str) -> np.ndarray | None:
    """A clip of as many samples as the text says, all at 0.5; none for 'mute'."""
    return None if text.startswith("mute") else np.full(int(text.split()[0]), 0.5, np.float32)


def say(cue: int, text: str, role: str = "care") -> Say:
    return Say(0, cue, text, role, "bag")


def pace(cue: int, what: str = "breaths", per_minute: float = 30, count: int | None = None) -> Pace:
    return Pace(0, cue, what, per_minute, count)


def mixer() -> Mixer:
    return Mixer(RATE_HZ, clip_of)


def ends(reports: list[Report]) -> list[PromptEndedAt]:
    return [report for report in reports if isinstance(report, PromptEndedAt)]


def beats(reports: list[Report]) -> list[Beat]:
    return [report for report in reports if isinstance(report, Beat)]
