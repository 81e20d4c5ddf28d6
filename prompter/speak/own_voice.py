"""Which voice the prompter itself speaks with: pyttsx3, and the direct binding when that fails."""

import numpy as np

from prompter.speak.pyttsx3_voice import Pyttsx3Voice
from prompter.speak.voice import EspeakVoice, Voice


def prompter_voice() -> Voice:
    """The prompter's voice. Raises CannotDo if there is none at all.

    Looks whether everything is there, without starting anything (a few ms). Should pyttsx3 fail
    later, the direct binding speaks on: it gives the same samples, so kept clips stay right.
    """
    stand_in = EspeakVoice()  # needs the same engine, and less
    try:
        return WithStandIn(Pyttsx3Voice(), stand_in)
    except Exception:  # noqa: BLE001 - whatever ails pyttsx3, the prompter has a voice
        return stand_in


class WithStandIn:
    """`voice`, and for what it cannot speak `stand_in`. `trouble`: why that was needed, or empty."""

    def __init__(self, voice: Voice, stand_in: Voice) -> None:
        self._voice, self._stand_in = voice, stand_in
        self.name, self.version, self.trouble = voice.name, voice.version, ""

    def render(self, text: str) -> np.ndarray:
        """As of a `Voice`."""
        try:
            return self._voice.render(text)
        except Exception as reason:  # noqa: BLE001 - whatever pyttsx3 did, the prompter speaks on
            clip = self._stand_in.render(text)
            self.trouble = str(reason) or type(reason).__name__
            return clip
