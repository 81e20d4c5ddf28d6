"""The process in which pyttsx3 speaks for `pyttsx3_voice`: a sentence in, its sound out.

    python -P -m prompter.speak.pyttsx3_engine LIBRARY VOICE RATE_WPM PITCH

It reads one JSON string a line and answers each with a line of JSON: the `text`, and `bytes`, the
size of the wave file that follows, or `error`, why there is none. ESPEAK_DATA_PATH must be set. It
ends with its input. Kept free of numpy, so that it starts fast. Its memory grows by 40 kB a
sentence, as modules loaded again leave their types behind: 10 MB for a protocol.
"""

import ctypes
import importlib
import io
import json
import os
import sys
import time
from types import SimpleNamespace, TracebackType
from typing import Any, Self

from prompter.speak.engine_library import unload

_LOOK_S = 0.001


class Pyttsx3Engine:
    """A newly loaded engine for one sentence, used in a `with` block.

    espeak-ng keeps state from sentence to sentence, and draws its noise by the time of day. With
    the library loaded afresh and the seed set, a text always has the same samples.

    pyttsx3 runs the engine on a thread of its own and does not wait for it: a rate may be lost to
    the voice being set (a sentence came out 20% too fast), the loop may end before the file is
    written, and a sentence begun while the last one ends is cut. So `_settle` after every step.
    """

    def __init__(self, library_path: str, voice: str, rate_wpm: int, pitch: int) -> None:
        self._trouble = ""
        self._library = library = ctypes.CDLL(library_path)
        # pyttsx3 looks for the systems' own libraries under fixed names: it is given ours for each.
        ctypes.cdll.LoadLibrary = lambda name: library  # type: ignore[method-assign,assignment]
        for name in ("pyttsx3.drivers._espeak", "pyttsx3.drivers.espeak"):
            if name in sys.modules:
                importlib.reload(sys.modules[name])  # binds the new library
            else:
                importlib.import_module(name)
        # pyttsx3 looks every 10 ms whether the sentence is done: it takes 3 ms to make.
        often = SimpleNamespace(sleep=lambda _: time.sleep(_LOOK_S))
        sys.modules["pyttsx3.drivers.espeak"].time = often  # type: ignore[attr-defined]
        import pyttsx3

        self._engine: Any = pyttsx3.init("espeak")
        self._engine.connect("error", self._failed)
        self._engine.connect("finished-utterance", self._finished)
        self._settle()
        self._engine.proxy.setBusy(False)  # else settings wait for the sentence and race with it
        for setting, value in (("voice", voice), ("rate", rate_wpm), ("pitch", pitch)):
            self._engine.setProperty(setting, value)
            self._settle()
        library.espeak_ng_SetRandSeed(ctypes.c_long(1))
        self._heard()

    def speak(self, text: str) -> bytes:
        """A wave file: 16-bit mono. Raises RuntimeError, also for a text without a sound."""
        sound = io.BytesIO()  # the address is among the things spoken: it stays off the disk
        self._engine.save_to_file(text, sound)
        self._engine.runAndWait()
        self._settle()
        self._heard()
        return sound.getvalue()

    def _settle(self) -> None:
        while self._library.espeak_IsPlaying():
            time.sleep(_LOOK_S)

    def _failed(self, exception: Exception, **_: object) -> None:
        self._trouble = f"{type(exception).__name__}: {exception}"

    def _finished(self, completed: bool, **_: object) -> None:
        if not completed:
            self._trouble = "the sentence was cut"

    def _heard(self) -> None:
        if self._trouble:
            raise RuntimeError(self._trouble)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._engine = None  # lets go of the library's callback
        self._library.espeak_Terminate()
        unload(self._library)


def main(library_path: str, voice: str, rate_wpm: str, pitch: str) -> None:
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # pyttsx3 prints a line for each file
    asked = True
    while asked:
        # Loaded before the sentence comes, while the asker is still busy with the last one.
        with Pyttsx3Engine(library_path, voice, int(rate_wpm), int(pitch)) as engine:
            line = sys.stdin.buffer.readline()
            asked = bool(line)
            if asked:
                _answer(engine, json.loads(line), answers)


def _answer(engine: Pyttsx3Engine, text: str, answers: io.BufferedWriter) -> None:
    try:
        sound = engine.speak(text)
        result: dict[str, object] = {"bytes": len(sound)}
    except Exception as error:  # noqa: BLE001 - the asker decides what becomes of it
        sound, result = b"", {"error": f"{type(error).__name__}: {error}"}
    answers.write(json.dumps({"text": text, **result}).encode() + b"\n" + sound)
    answers.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
