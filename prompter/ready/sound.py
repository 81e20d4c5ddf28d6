"""Looks at the way out and the way in: a tone that must come back, a phrase that must be understood.

The microphone must hear the loudspeaker for this. With a headset it cannot; then a person may say
the phrase.
"""

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase, Say, Tone
from prompter.ready.check import Check
from prompter.speak import tones
from prompter.speak.loudness import ABOVE_NOISE_DB
from prompter.speak.loudspeaker import Loudspeaker, own_rate_hz
from prompter.speak.mixer import Mixer
from prompter.speak.speech_level import active_level

PHRASE = "chest flat"
LEVEL_TEXT = "Take off the cap or valve. Suction now."
_TONES = (("attention", tones.ATTENTION_HZ), ("noted", tones.NOTED_HZ))
_BOTH = "loudspeaker and microphone"
_HEAD = "Without a headset: turn the loudspeaker up and the microphone on; with one this must be."


class SoundCheck:
    """Loudspeaker and microphone open at once. Raises CannotDo in `__enter__`, naming what is missing."""

    def __init__(
        self,
        clip_of: Callable[[str], np.ndarray | None],
        microphone: str | int | None,
        loudspeaker: str | int | None,
    ) -> None:
        from prompter.hear.microphone import Microphone

        self._clip_of, self._loudspeaker_name = clip_of, loudspeaker
        self._microphone: Any = Microphone(microphone)
        self._loudspeaker: Loudspeaker | None = None
        self._mixer: Mixer | None = None
        self._cue = 0

    def __enter__(self) -> "SoundCheck":
        self._mixer = Mixer(own_rate_hz(self._loudspeaker_name), self._clip_of)
        self._loudspeaker = Loudspeaker(self._mixer, self._loudspeaker_name)
        self._loudspeaker.start()
        try:
            self._microphone.open()
        except BaseException:
            self._loudspeaker.stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._microphone.close()
        if self._loudspeaker is not None:
            self._loudspeaker.stop()

    def tone(self) -> tuple[Check, bool]:
        """Plays two tones; the check, and whether they came back."""
        before = self._listen(limits.READY_LISTEN_S)
        for name, _ in _TONES:
            self._play(Tone(0, self._next_cue(), name))
        during = self._listen(limits.READY_TONES_S)
        gain_db = min(band_db(during, hz) - band_db(before, hz) for _, hz in _TONES)
        if gain_db >= limits.READY_TONE_DB:
            return Check(_BOTH, "ok", f"the tones stand {gain_db:.0f} dB above the room."), True
        if not len(during):
            what, mend = "the microphone gives no sound.", "Allow its use, or name another: --microphone"
        elif not np.any(before) and not np.any(during):
            what, mend = "the microphone gives silence only.", "Switch it on: it seems to be muted."
        else:
            what, mend = "a tone played was not heard back.", _HEAD
        return Check(_BOTH, "not ok", what, mend), False

    def level(self, limits_db: tuple[float, float]) -> list[Check]:
        """Speaks as quietly and as loudly as the plan lets it; how far each stands above the room.

        Active speech level by ITU-T P.56, in the microphone.
        """
        room = self._listen(limits.READY_LISTEN_S)
        checks = []
        for name, gain_db in zip(("quietest", "loudest"), limits_db, strict=True):
            if self._mixer is not None:
                self._mixer.speech_db = gain_db
            self._play(Say(0, self._next_cue(), LEVEL_TEXT, "notice", "ready"))
            checks.append(level_check(name, gain_db, room, self._listen(limits.READY_LEVEL_S)))
        if self._mixer is not None:
            self._mixer.speech_db = 0.0
        return checks

    def phrase(self, hearing: Any, phrases: tuple[Phrase, ...], spoken: bool) -> Check:
        """Has PHRASE spoken by the loudspeaker, or (`spoken` False) waits for a person to say it."""
        hearing.expect(phrases)
        if spoken:
            self._play(Say(0, self._next_cue(), PHRASE, "notice", "ready"))
        heard = self._hear(hearing, limits.READY_PHRASE_S)
        mend = f"Quiet the room, come nearer, and say '{PHRASE}' in the live test: prompter ears hear"
        if heard is None:
            return Check("a spoken phrase", "not ok", "no speech was heard.", _HEAD)
        wanted = {p.answer for p in phrases if p.text == PHRASE}
        if heard.believed and heard.heard is not None and heard.heard.answer in wanted:
            return Check("a spoken phrase", "ok", f"'{PHRASE}' was understood.")
        return Check("a spoken phrase", "not ok", f"'{PHRASE}' was not understood ({heard.why or heard.text}).", mend)

    def _hear(self, hearing: Any, for_s: float) -> Any:
        began = time.monotonic()
        while (passed_s := time.monotonic() - began) < for_s:
            block = self._microphone.read()
            if block is None:
                continue
            for report in hearing.push(block, round(1000 * passed_s)):
                if hasattr(report, "believed") and report.why != "no words":
                    return report
        return None

    def _listen(self, for_s: float) -> np.ndarray:
        blocks = []
        end = time.monotonic() + for_s
        while time.monotonic() < end:
            block = self._microphone.read(0.5)
            if block is not None:
                blocks.append(block)
        return np.concatenate(blocks) if blocks else np.zeros(0, np.float32)

    def _play(self, cue: Say | Tone) -> None:
        if self._mixer is not None:
            self._mixer.enqueue(cue)

    def _next_cue(self) -> int:
        self._cue += 1
        return self._cue


def band_db(sound: np.ndarray, hz: float) -> float:
    """The loudest tenth of a second at this frequency (16 kHz sound), in dB of full scale."""
    size = limits.SAMPLE_RATE_HZ // 10
    if len(sound) < size:
        return -120.0
    pieces = sound[: len(sound) // size * size].reshape(-1, size) * np.hanning(size)
    wave = np.exp(-2j * np.pi * hz * np.arange(size) / limits.SAMPLE_RATE_HZ)
    level = np.abs(pieces @ wave).max() * 4 / size
    return float(20 * np.log10(level + 1e-6))


def look_at_loudspeaker(name: str | int | None) -> Check:
    """Opens the loudspeaker and plays nothing: whether it takes sound."""
    try:
        loudspeaker = Loudspeaker(Mixer(own_rate_hz(name), lambda text: None), name)
        loudspeaker.start()
        time.sleep(limits.READY_LISTEN_S)
        why = loudspeaker.failed()
        loudspeaker.stop()
    except CannotDo as error:
        return Check("loudspeaker", "not ok", error.what, error.mend or "Connect one, and turn it up.")
    if why:
        return Check("loudspeaker", "not ok", f"{why}.", "Connect one, and turn it up.")
    return Check("loudspeaker", "ok", "it takes sound; nothing was played.")


def level_check(name: str, gain_db: float, room: np.ndarray, heard: np.ndarray) -> Check:
    """What a prompt at this gain came to in the microphone (float32 mono 16 kHz), against the room."""
    what = f"{name} voice ({gain_db:+g} dB)"
    if len(room) == 0 or len(heard) == 0:
        return Check(what, "could not be tried", "the microphone gives no sound.", "Allow its use, or name another: --microphone")
    level_db, _ = active_level(heard, limits.SAMPLE_RATE_HZ)
    room_db = 10 * float(np.log10(np.mean(room.astype(np.float64) ** 2) + 1e-12))
    above_db = level_db - room_db
    if np.mean(np.abs(heard) > 0.99) > limits.READY_CLIPPED:
        return Check(what, "not ok", "the microphone is overdriven.", "Turn its level down, or move it from the loudspeaker.")
    if above_db < ABOVE_NOISE_DB:
        mend = "Turn the loudspeaker up, bring it nearer, or quiet the room; with a headset this must be."
        return Check(what, "not ok", f"stands {above_db:.0f} dB above the room; {ABOVE_NOISE_DB:g} dB are needed.", mend)
    return Check(what, "ok", f"stands {above_db:.0f} dB above the room.")


def nothing_to_try(error: CannotDo) -> list[Check]:
    """What to say when there is no sound card to try."""
    mend = error.mend or "Connect a loudspeaker and a microphone; keys and screen work without."
    what = f"{error.where}: {error.what}" if error.where else error.what
    return [
        Check(_BOTH, "could not be tried", what, mend),
        Check("a spoken phrase", "could not be tried", "there is no sound to hear it in.", mend),
    ]
