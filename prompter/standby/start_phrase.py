"""Whether the start phrase was said: four words, one after the other, and nothing that only sounds so.

The recogniser is not asked what was said, so no words of the room ever exist here: it is asked how
likely this one phrase is in the sound, and whether each of its words has its own time in it.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.steady import without_steady_noise
from prompter.hear.whisper_model import HOP_SAMPLES
from prompter.standby import bounds

PHRASE = "breathing trouble breathing trouble"
"""Of twelve phrases tried with 16 voices, clean and in noise at 5 dB, and beside 260 sentences of
other talk, the one that the recogniser hears best and that is furthest from any talk."""

SPOKEN = "Breathing trouble, breathing trouble"
"""As people are told it."""

DECOYS = (
    "breathing double breathing double", "reading trouble writing trouble",
    "breathing treatment breathing treatment", "breathing breathing", "trouble trouble",
)  # fmt: skip
"""What sounds like it from end to end."""

LEAST_EVIDENCE = -0.7
"""Of the phrase said by 16 voices the least was 1.3 clean, 0.0 in noise at 5 dB (by ten more voices -0.7,
in hiss); 260 sentences of other talk reached -2.4 at most."""

LEAST_TOKEN = -9.0
"""Log probability of the least likely token; -8.3 was the least of the phrase, in hiss."""

LEAST_LEAD = 0.5
"""Evidence by which it must lead each decoy: it led by 1.2 and more where it was said clean."""

LEAST_WORD_MS = 120
"""Each word takes at least so long. 'Breathing trouble' said once gives its third word no time at all."""

LEAST_ALL_MS = 800
"""From the first word's begin to the last one's end."""


@dataclass(frozen=True, slots=True)
class Found:
    """Of one piece. `evidence`: how much likelier the sound makes the phrase than silence, a token."""

    evidence: float
    taken: bool
    why: str = ""


class StartPhrase(EmbeddedEar):
    """The embedded ear, asked for one phrase only: a third of the computing of an answer."""

    def __init__(self, model: Path | None = None, threads: int = 1) -> None:
        super().__init__(model, threads)

    def warm_up(self) -> None:
        """Loads, and does ahead what the first piece would wait for."""
        self.load()
        self.judge(np.zeros(limits.SAMPLE_RATE_HZ, np.float32))
        self._from_silence(DECOYS)

    def judge(self, piece: np.ndarray) -> Found:
        """Whether `piece` (float32, mono, 16 kHz) ends with the phrase."""
        self.load()
        encoded = self._model.encode(without_steady_noise(piece), _window(len(piece)))
        heard = self._model.likely(encoded, [PHRASE])[0]
        evidence = heard.mean - limits.SILENCE_SHARE * self._from_silence([PHRASE])[0]
        if evidence < LEAST_EVIDENCE:
            return Found(evidence, False, "something else")
        if heard.least < LEAST_TOKEN:
            return Found(evidence, False, "a word is missing")
        times = np.array(self._model.word_ms(encoded, PHRASE))
        if np.diff(times).min() < LEAST_WORD_MS or times[-1] - times[0] < LEAST_ALL_MS:
            return Found(evidence, False, "not said twice")
        silent = self._from_silence(DECOYS)
        others = zip(self._model.likely(encoded, DECOYS), silent, strict=True)
        if max(other.mean - limits.SILENCE_SHARE * s for other, s in others) > evidence - LEAST_LEAD:
            return Found(evidence, False, "sounds more like something else")
        return Found(evidence, True)


def _window(samples: int) -> int:
    """Frames to analyse: shorter ones than answers need, as nothing is decoded in them."""
    step = limits.WINDOW_STEP_FRAMES
    frames = samples // HOP_SAMPLES + limits.WINDOW_TAIL_FRAMES
    return max(bounds.WINDOW_FRAMES, -(-frames // step) * step)
