"""Binds the embedded speech engine, so that a sound depends on nothing but text and settings.

The engine (espeak-ng, brought by `espeakng_loader`, never a system library) keeps hidden state from
sentence to sentence, in its pitch flutter and noise: the same text comes out different each time,
and a rehearsal could not be repeated. So each sentence is made by a freshly loaded copy of the
library, which costs about 3 ms. Nothing is written to standard output or to disk.
"""

import ctypes
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache

import numpy as np

from prompter.errors import CannotDo
from prompter.speak.engine_library import MEND, places, unload

# espeak-ng's speak_lib.h
_SYNCHRONOUS = 2
_DO_NOT_EXIT = 0x8000  # without it the library ends the whole process when its data are missing
_CHARS_UTF8 = 1
_POSITION_CHARACTER = 1
_RATE, _PITCH = 1, 3
_IPA, _SEPARATED_BY = 0x02, ord("_") << 8  # modes of espeak_TextToPhonemes
_TIED_BY = ord("^") << 8 | 1 << 7  # this between the letters of one phoneme
_BUFFER_MS = 1000
RATE_WPM_RANGE = (80, 450)
PITCH_RANGE = (0, 100)

ENGINE_RATE_HZ = 22_050

# The library is one per process: loading, speaking and unloading must not overlap.
_lock = threading.Lock()
_Callback = ctypes.CFUNCTYPE(
    ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
)


class _Copy:
    """A freshly loaded library, unloaded at the end of the `with` block."""

    def __enter__(self) -> ctypes.CDLL:
        path, data = places()
        _lock.acquire()
        try:
            self._library = ctypes.CDLL(path)
        except OSError as reason:
            _lock.release()
            raise CannotDo(f"the voice does not load: {reason}.", path, MEND) from None
        try:
            rate_hz = self._library.espeak_Initialize(_SYNCHRONOUS, _BUFFER_MS, data, _DO_NOT_EXIT)
            if rate_hz != ENGINE_RATE_HZ:
                raise CannotDo("the voice does not start.", path, MEND)
            # The engine seeds its noise from the time of day.
            self._library.espeak_ng_SetRandSeed(ctypes.c_long(1))
            return self._library
        except BaseException:
            self.__exit__()
            raise

    def __exit__(self, *_: object) -> None:
        try:
            self._library.espeak_Terminate()
            unload(self._library)
        finally:
            _lock.release()


@cache
def engine_version() -> str:
    """Such as '1.52.0'. Raises CannotDo."""
    with _Copy() as library:
        library.espeak_Info.restype = ctypes.c_char_p
        return str(library.espeak_Info(None).decode("ascii", "replace"))


def knows(voice: str) -> bool:
    """Whether the engine accepts a voice by this name. Raises CannotDo if there is no engine."""
    with _Copy() as library:
        return bool(library.espeak_SetVoiceByName(voice.encode()) == 0)


def speak(text: str, voice: str, rate_wpm: int, pitch: int) -> np.ndarray:
    """The engine's sound for `text`: int16 mono at ENGINE_RATE_HZ, silence around it included.

    Raises CannotDo. Takes 5 to 10 ms a sentence; other threads run meanwhile but cannot speak.
    """
    pieces: list[bytes] = []

    def collect(samples: object, count: int, _events: object) -> int:
        if count > 0:
            pieces.append(ctypes.string_at(samples, count * 2))  # type: ignore[arg-type]
        return 0

    encoded = text.replace("\0", " ").encode("utf-8", "replace")
    callback = _Callback(collect)
    with _Copy() as library:
        library.espeak_SetSynthCallback(callback)
        if library.espeak_SetVoiceByName(voice.encode()) != 0:
            raise CannotDo("the engine has no such voice.", voice, "Choose one that it lists.")
        library.espeak_SetParameter(_RATE, rate_wpm, 0)
        library.espeak_SetParameter(_PITCH, pitch, 0)
        size = ctypes.c_size_t(len(encoded) + 1)
        status = library.espeak_Synth(
            encoded, size, 0, _POSITION_CHARACTER, 0, _CHARS_UTF8, None, None
        )
    if status != 0:
        raise CannotDo(f"the voice failed with status {status}.", repr(text), MEND)
    return np.frombuffer(b"".join(pieces), dtype=np.int16)


def phonemes(texts: Sequence[str], voice: str) -> list[list[str]]:
    """For each text its phonemes as this voice would say them, in the International Phonetic
    Alphabet, a diphthong or long vowel as one; marks of stress left out. Raises CannotDo."""
    with _translating(voice) as translate:
        return [_phonemes_of(text, translate) for text in texts]


def ipa(texts: Sequence[str], voice: str) -> list[str]:
    """For each text what this voice would say in the International Phonetic Alphabet, as words with
    their marks of stress and length, '^' between the letters of one phoneme. Raises CannotDo."""
    with _translating(voice) as translate:
        return [" ".join(_clauses(text, translate, _IPA | _TIED_BY)) for text in texts]


@contextmanager
def _translating(voice: str) -> Iterator[Callable[..., bytes | None]]:
    """The engine's own function from text to phonemes, set to this voice."""
    with _Copy() as library:
        if library.espeak_SetVoiceByName(voice.encode()) != 0:
            raise CannotDo("the engine has no such voice.", voice, "Choose one that it lists.")
        translate = library.espeak_TextToPhonemes
        translate.restype = ctypes.c_char_p
        translate.argtypes = (ctypes.POINTER(ctypes.c_char_p), ctypes.c_int, ctypes.c_int)
        yield translate


def _phonemes_of(text: str, translate: Callable[..., bytes | None]) -> list[str]:
    found: list[str] = []
    for clause in _clauses(text, translate, _IPA | _SEPARATED_BY):
        plain = clause.replace("ˈ", "").replace("ˌ", "")
        found += [phoneme for word in plain.split() for phoneme in word.split("_") if phoneme]
    return found


def _clauses(text: str, translate: Callable[..., bytes | None], mode: int) -> list[str]:
    rest = ctypes.c_char_p(text.replace("\0", " ").encode("utf-8", "replace"))
    found: list[str] = []
    while rest.value is not None:  # one clause a call; None when nothing is left
        clause = translate(ctypes.byref(rest), _CHARS_UTF8, mode) or b""
        found.append(clause.decode("utf-8").strip())
    return found
