"""The small Whisper model itself: sound in, what was said and how likely each wording is out."""

import importlib.util
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.hear.likely import Likely
from prompter.hear.shortlist import plain_words

HOP_SAMPLES = 160
"""One frame of the model's spectrogram: 10 ms."""

_POSITION_SAMPLES = 2 * HOP_SAMPLES
"""The encoder gives one position for two frames."""


_FRAMES_REACHED = 3
"""Frames behind the sound that still see some of it: the front end looks at 25 ms."""


@dataclass(frozen=True, slots=True, eq=False)
class Encoded:
    """What the encoder made of one sound: `positions` of 20 ms; `window`: frames it looked at."""

    view: Any
    positions: int
    window: int
    samples: int


class WhisperModel:
    """One loaded model in `folder` (model.bin, tokenizer.json), on `threads` cores."""

    def __init__(self, folder: Path, threads: int) -> None:
        import ctranslate2
        from tokenizers import Tokenizer

        self._view = ctranslate2.StorageView.from_array
        self._mel = _feature_extractor()
        self._tokenizer = Tokenizer.from_file(str(folder / "tokenizer.json"))
        self._start = self._tokenizer.token_to_id("<|startoftranscript|>")
        self._untimed = self._tokenizer.token_to_id("<|notimestamps|>")
        self._model = ctranslate2.models.Whisper(
            str(folder), device="cpu", compute_type="int8", intra_threads=threads
        )
        self._tokens: dict[str, list[int]] = {}
        size = (folder / "model.bin").stat().st_size
        self.name = f"{size} bytes, window {limits.WINDOW_FRAMES}"
        """Enough to tell another model, or another way of scoring, from this one."""

    def encode(self, sound: np.ndarray, window: int, whole: bool = False) -> Encoded:
        """`sound` (float32, mono, 16 kHz) in a window of so many frames.

        Positions well behind the sound are left out unless `whole`: they change no ranking
        (correlation 0.998) and cost a quarter of the time.
        """
        sound = sound[: window * HOP_SAMPLES]
        view = self._model.encode(self._view(self._spectrogram(sound, window)[None]))
        positions = window // 2
        if not whole:
            positions = min(positions, len(sound) // _POSITION_SAMPLES + limits.POSITIONS_BEHIND)
            view = self._view(np.ascontiguousarray(np.asarray(view)[:, :positions]))
        return Encoded(view, positions, window, len(sound))

    def _spectrogram(self, sound: np.ndarray, window: int) -> np.ndarray:
        """(bands, frames). All frames behind the sound are alike: one of them is computed."""
        frames = min(window, len(sound) // HOP_SAMPLES + _FRAMES_REACHED + 1)
        padded = np.zeros(frames * HOP_SAMPLES, np.float32)
        padded[: len(sound)] = sound[: len(padded)]
        mel = self._mel(padded, padding=0)[:, :frames].astype(np.float32)
        return np.ascontiguousarray(np.pad(mel, ((0, 0), (0, window - frames)), mode="edge"))

    def decode(self, encoded: Encoded, beams: int) -> list[str]:
        """What was said, without a list of what to expect: the likeliest `beams` texts, best first."""
        longest = 3 + int(5 * encoded.samples / limits.SAMPLE_RATE_HZ)  # tokens: nobody speaks faster
        found = self._model.generate(
            encoded.view,
            [[self._start, self._untimed]],
            beam_size=beams,
            num_hypotheses=beams,
            max_length=2 + longest,
        )[0]
        return [said_once(self._tokenizer.decode(ids)) for ids in found.sequences_ids]

    def likely(self, encoded: Encoded, wordings: Sequence[str]) -> list[Likely]:
        """How likely each wording is."""
        ids = [tuple(self._token_ids(w)) for w in wordings]
        found: dict[tuple[int, ...], Likely] = {}
        for some in _batches(set(ids)):
            batch = self._view(np.repeat(np.asarray(encoded.view), len(some), axis=0))
            frames = [encoded.positions] * len(some)
            for one, aligned in zip(some, self._model.align(batch, [self._start], some, frames), strict=True):
                logs = np.log(np.maximum(aligned.text_token_probs, 1e-9))
                found[tuple(one)] = Likely(float(logs.sum()), len(logs), float(logs.min()))
        return [found[one] for one in ids]

    def word_ms(self, encoded: Encoded, wording: str) -> list[int]:
        """Where each word of `wording` begins in the sound, and where the last one ends, if it was
        said: by the model's attention, in steps of 20 ms. A word that was not said gets no time."""
        ids = self._token_ids(wording)
        frames = 2 * encoded.positions  # the library counts the spectrogram's, here they matter
        aligned = self._model.align(encoded.view, [self._start], [ids], [frames])[0]
        first: dict[int, int] = {}
        for token, position in aligned.alignments:
            first.setdefault(token, position)
        begins = [n for n, one in enumerate(ids) if self._tokenizer.decode([one]).startswith(" ")]
        step_ms = 1000 * _POSITION_SAMPLES // limits.SAMPLE_RATE_HZ
        return [step_ms * first.get(n, 0) for n in [*begins, len(ids) - 1]]

    def _token_ids(self, wording: str) -> list[int]:
        ids = self._tokens.get(wording)
        if ids is None:
            text = " " + wording[:1].upper() + wording[1:].rstrip(".") + "."
            ids = self._tokenizer.encode(text, add_special_tokens=False).ids
            self._tokens[wording] = ids
        return ids


def _batches(wordings: Iterable[tuple[int, ...]]) -> list[list[list[int]]]:
    """Wordings of about one length together: in a batch the short ones cost as much as the longest."""
    found: list[list[list[int]]] = []
    spare = 0
    for ids in sorted(wordings, key=lambda ids: (-len(ids), ids)):
        spare += len(found[-1][0]) - len(ids) if found else 0
        if not found or len(found[-1]) == limits.ALIGNED_AT_ONCE or spare > limits.PADDED_MOST:
            found.append([])
            spare = 0
        found[-1].append(list(ids))
    return found


def window_for(samples: int) -> int:
    """Frames to analyse: the shortest window that holds the sound and a little silence."""
    frames = samples // HOP_SAMPLES + limits.WINDOW_TAIL_FRAMES
    step = limits.WINDOW_STEP_FRAMES
    return min(limits.WINDOW_MAX_FRAMES, max(limits.WINDOW_FRAMES, -(-frames // step) * step))


def said_once(text: str) -> str:
    """`text` without the repeats that the model fills a window with: 'No rise. No rise No'."""
    words = text.split()
    plain = [plain_words(word) for word in words]
    for length in range(1, len(words)):
        if all(plain[i] == plain[i % length] for i in range(length, len(words))):
            return " ".join(words[:length])
    return " ".join(words)


def _feature_extractor() -> Any:
    """The log-mel front end alone: importing all of faster_whisper costs 0.2 s and 135 MB."""
    spec = importlib.util.find_spec("faster_whisper")
    if spec is None or spec.origin is None:
        raise CannotDo("the package faster-whisper is missing", mend="install the program again")
    path = Path(spec.origin).parent / "feature_extractor.py"
    part = importlib.util.spec_from_file_location("_prompter_feature_extractor", path)
    module = importlib.util.module_from_spec(part)
    part.loader.exec_module(module)
    return module.FeatureExtractor()
