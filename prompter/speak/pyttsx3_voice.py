"""The prompter's own voice: pyttsx3 on the embedded espeak-ng, in a process of its own.

Of its own, because pyttsx3 prints on standard output, where the screen is; leaves its library
loaded, so that simulated caregivers would share its state; can wait for ever; and its library ends
the process it is in when its data are missing.
"""

import io
import json
import os
import subprocess
import sys
import threading
import wave
import weakref
from importlib import metadata
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.speak import espeak
from prompter.speak.engine_library import places
from prompter.speak.trim import TRIM_VERSION, trimmed
from prompter.speak.voice import DEFAULT_PITCH, DEFAULT_RATE_WPM, DEFAULT_VOICE, engine_voice

_MODULE = "prompter.speak.pyttsx3_engine"
_MEND = "Install the package pyttsx3 again."


class Pyttsx3Voice:
    """pyttsx3 with one voice, rate and pitch, as for `EspeakVoice`.

    The same text gives the same samples, because each sentence has a newly loaded engine; and the
    same as `EspeakVoice`, but that a variant with an echo (f2 to f5) may fade up to 90 ms longer.
    pyttsx3 used plainly gives another clip each time (8 of 8 renders of 5 sentences): up to 21 ms
    longer or shorter, samples apart by more than full scale, and without a wait after each step now
    and then a sentence that is empty, cut, or 20% too fast.

    The process starts with the first sentence and ends with this object. When it fails or does not
    answer for `limits.VOICE_HANGS_S`, it is ended and not tried again. Raises CannotDo if pyttsx3
    or its engine is missing, for an unknown voice or a setting out of range. Safe from several
    threads, which take turns, and from several processes.
    """

    def __init__(
        self,
        voice: str = DEFAULT_VOICE,
        rate_wpm: int = DEFAULT_RATE_WPM,
        pitch: int = DEFAULT_PITCH,
    ) -> None:
        try:
            version = metadata.version("pyttsx3")
        except metadata.PackageNotFoundError:
            raise CannotDo("it is not installed.", "pyttsx3", _MEND) from None
        self._settings = [engine_voice(voice, rate_wpm, pitch), str(rate_wpm), str(pitch)]
        self._process: subprocess.Popen[bytes] | None = None
        self._given_up = ""
        self._turn = threading.Lock()
        self.name = f"pyttsx3 {voice} {rate_wpm} wpm pitch {pitch}"
        self.version = (
            f"pyttsx3 {version}, espeak-ng {espeak.engine_version()}, trim {TRIM_VERSION}"
        )

    def render(self, text: str) -> np.ndarray:
        """float32 mono at `limits.MIX_RATE_HZ`, trimmed. Raises CannotDo, also for a text that has
        nothing to be spoken."""
        spoken = text.replace("\0", " ").encode("utf-8", "replace").decode()
        with self._turn:  # pyttsx3 takes no empty text
            clip = _clip(self._ask(spoken)) if spoken.strip() else np.zeros(0, np.float32)
        if not len(clip):
            raise CannotDo("there is nothing to speak in this text.", repr(text))
        return clip

    def _ask(self, text: str) -> bytes:
        """The engine's wave file."""
        if self._given_up:
            raise CannotDo(self._given_up, "pyttsx3", _MEND)
        try:
            process = self._process = self._process or self._start()
            late = threading.Timer(limits.VOICE_HANGS_S, process.kill)
            late.daemon = True
            late.start()
            try:
                return _exchange(process, text)
            finally:
                late.cancel()
        except CannotDo:
            raise
        except BaseException as reason:  # Ctrl-C too: the next text must not get this answer
            self._given_up = f"it failed or did not answer ({reason})."
            if self._process:
                _end(self._process)
            if not isinstance(reason, (OSError, ValueError, EOFError)):
                raise
            raise CannotDo(self._given_up, "pyttsx3", _MEND) from None

    def _start(self) -> "subprocess.Popen[bytes]":
        library, data = places()
        quiet: dict[str, Any] = (
            {"creationflags": subprocess.CREATE_NO_WINDOW | subprocess.CREATE_NEW_PROCESS_GROUP}
            if sys.platform == "win32"
            else {"start_new_session": True}  # Ctrl-C is for the prompter alone
        )
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", _MODULE, library, *self._settings],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "ESPEAK_DATA_PATH": os.fsdecode(data)},
            **quiet,
        )
        weakref.finalize(self, _end, process)
        return process


def _exchange(process: "subprocess.Popen[bytes]", text: str) -> bytes:
    assert process.stdin and process.stdout
    process.stdin.write(json.dumps(text).encode() + b"\n")
    process.stdin.flush()
    line = process.stdout.readline()
    if not line:
        raise EOFError("its process ended")
    answer = json.loads(line)
    if answer["text"] != text:
        raise ValueError("it spoke another text")
    if "error" in answer:
        raise CannotDo(f"pyttsx3 cannot speak this text: {answer['error']}.", repr(text))
    sound = process.stdout.read(answer["bytes"])
    if len(sound) < answer["bytes"]:
        raise EOFError("its process ended")
    return sound


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.kill()
    process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe:
            try:
                pipe.close()
            except OSError:
                pass  # what was still to be written has nowhere to go


def _clip(file: bytes) -> np.ndarray:
    try:
        with wave.open(io.BytesIO(file)) as sound:
            form = (sound.getframerate(), sound.getnchannels(), sound.getsampwidth())
            raw = np.frombuffer(sound.readframes(sound.getnframes()), np.dtype("<i2"))
    except (wave.Error, EOFError, ValueError):
        raise CannotDo("its sound cannot be read.", "pyttsx3", _MEND) from None
    if form != (limits.MIX_RATE_HZ, 1, 2):
        raise CannotDo(f"its sound has another form: {form}.", "pyttsx3", _MEND)
    return trimmed(raw, limits.MIX_RATE_HZ)
