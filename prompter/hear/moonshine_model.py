"""The small Moonshine model: another make of recogniser, asked the same as `whisper_model.py`.

It was trained on other speech, takes the wave itself, any length of it, and makes other mistakes.
Weights and token list come with the package moonshine-voice, of which nothing else is used.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from prompter import limits
from prompter.hear.likely import Likely
from prompter.hear.whisper_model import said_once

_START, _END = 1, 2
_BYTES = range(3, 259)
"""Tokens of single bytes, for what no other token spells."""

_SPACE = "\u2581"
_HEADS, _WIDTH = 8, 36
"""Of the decoder's attention: its memory of earlier tokens is empty where all are given at once."""


@dataclass(frozen=True, slots=True, eq=False)
class EncodedWave:
    """What the encoder made of one sound: float32 (1, positions, 288); `samples` it looked at."""

    states: np.ndarray
    samples: int


class MoonshineModel:
    """One loaded model in `folder` (encoder, decoder, tokenizer.bin), on `threads` cores."""

    def __init__(self, folder: Path, threads: int) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads, options.inter_op_num_threads = threads, 1
        options.log_severity_level = 4
        # A thread that spins while it waits would take the core that the other model needs.
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")

        def opened(name: str) -> "onnxruntime.InferenceSession":
            return onnxruntime.InferenceSession(
                str(folder / name), options, providers=["CPUExecutionProvider"]
            )

        self._encoder, self._decoder = opened("encoder_model.ort"), opened("decoder_model_merged.ort")
        self._memory = [i.name for i in self._decoder.get_inputs() if i.name.startswith("past_key")]
        self._kept = [o.name for o in self._decoder.get_outputs()][1:]
        self._tokens = _tokens(folder / "tokenizer.bin")
        self._numbers = _numbers(self._tokens)
        self._ids: dict[str, list[int]] = {}
        size = (folder / "decoder_model_merged.ort").stat().st_size
        self.name = f"moonshine {size} bytes"
        """Enough to tell another model from this one."""

    def encode(self, sound: np.ndarray) -> EncodedWave:
        """`sound`: float32, mono, 16 kHz. Silence is put around it: a first word that begins at once
        is heard less well (of 298 answers in noise 259 were ranked first without, 272 with it)."""
        before, behind = (np.zeros(ms * 16, np.float32) for ms in limits.SILENCE_AROUND_MS)
        wave = np.concatenate([before, sound[: limits.WINDOW_MAX_FRAMES * 160].astype(np.float32), behind])
        given = {"input_values": wave[None], "attention_mask": np.ones((1, len(wave)), np.int64)}
        return EncodedWave(self._encoder.run(None, given)[0], len(wave))

    def decode(self, heard: EncodedWave) -> tuple[str, float]:
        """What was said, without a list of what to expect, and its mean log probability a token."""
        longest = 3 + int(6.5 * heard.samples / limits.SAMPLE_RATE_HZ)  # tokens a second: what the model was trained with
        memory = self._empty(1)
        ids, total = [_START], 0.0
        for number in range(longest):
            given = self._given(heard, np.array([[ids[-1]]], np.int64), number > 0) | memory
            logits, *kept = self._decoder.run(None, given)
            chances = _log_softmax(logits[0, -1])
            ids.append(int(chances.argmax()))
            total += float(chances[ids[-1]])
            if ids[-1] == _END:
                break
            # What it keeps of the sound is made by the first pass only.
            memory |= {
                name: value
                for name, value in zip(self._memory, kept, strict=True)
                if number == 0 or ".decoder." in name
            }
        return said_once(self._text(ids[1:])), total / (len(ids) - 1)

    def likely(self, heard: EncodedWave, wordings: Sequence[str]) -> list[Likely]:
        """How likely each wording is, its end included. Those asked for at once sway each other a
        little (0.1 or 0.2 a token): the model's eight-bit arithmetic takes one scale for all of them."""
        ids = {wording: self._token_ids(wording) for wording in wordings}
        order = sorted(ids, key=lambda wording: len(ids[wording]))
        found: dict[str, Likely] = {}
        for begin in range(0, len(order), limits.BESIDE_AT_ONCE):
            some = order[begin : begin + limits.BESIDE_AT_ONCE]
            longest = len(ids[some[-1]])
            before = np.full((len(some), longest), _END, np.int64)
            before[:, 0] = _START
            for row, wording in enumerate(some):
                before[row, 1 : len(ids[wording])] = ids[wording][:-1]
            given = self._given(heard, before, False) | self._empty(len(some))
            chances = self._decoder.run(["logits"], given)[0]
            for row, wording in enumerate(some):
                places = np.arange(len(ids[wording]))
                logs = _log_softmax(chances[row, : len(places)])[places, ids[wording]]
                found[wording] = Likely(float(logs.sum()), len(logs), float(logs.min()))
        return [found[wording] for wording in wordings]

    def _given(self, heard: EncodedWave, tokens: np.ndarray, goes_on: bool) -> dict[str, np.ndarray]:
        return {
            "input_ids": tokens,
            "encoder_hidden_states": np.repeat(heard.states, len(tokens), axis=0),
            "encoder_attention_mask": np.ones((len(tokens), heard.samples), np.int64),
            "use_cache_branch": np.array([goes_on]),
        }

    def _empty(self, rows: int) -> dict[str, np.ndarray]:
        nothing = np.zeros((rows, _HEADS, 0, _WIDTH), np.float32)
        return dict.fromkeys(self._memory, nothing)

    def _token_ids(self, wording: str) -> list[int]:
        ids = self._ids.get(wording)
        if ids is None:
            text = wording[:1].upper() + wording[1:].rstrip(".") + "."
            ids = [*self._spelled(text), _END]
            self._ids[wording] = ids
        return ids

    def _spelled(self, text: str) -> list[int]:
        """Byte pair encoding as the model was trained with. The list holds no merges, but they stand in
        its order: of two neighbours that make a token those that make the one with the lowest number
        are joined first. What no token spells goes as its bytes. (A library's table of merges for the
        same took 15 MB and a quarter of a second.)"""
        parts = list(_SPACE + text.replace(" ", _SPACE))
        while True:
            joined = [self._numbers.get(a + b, len(self._tokens)) for a, b in itertools.pairwise(parts)]
            first = min(joined, default=len(self._tokens))
            if first == len(self._tokens):
                break
            at = joined.index(first)
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
        ids: list[int] = []
        for part in parts:
            known = self._numbers.get(part)
            ids += [known] if known is not None else [_BYTES.start + byte for byte in part.encode()]
        return ids

    def _text(self, ids: Sequence[int]) -> str:
        spelled = b"".join(self._tokens[n] for n in ids if n not in (_START, _END))
        return spelled.decode("utf-8", "replace").replace(_SPACE, " ").strip()


def _tokens(path: Path) -> list[bytes]:
    """What each token spells. The file: for each a length, of one byte or, from 128 on, of two (the
    low seven bits first), and so many bytes."""
    content, found, at = path.read_bytes(), [], 0
    while at < len(content):
        length, at = content[at], at + 1
        if length >= 128:
            length, at = length - 128 + 128 * content[at], at + 1
        found.append(content[at : at + length])
        at += length
    return found


def _numbers(tokens: Sequence[bytes]) -> dict[str, int]:
    """The number of each token that spells text, by what it spells."""
    found: dict[str, int] = {}
    for number in range(_BYTES.stop, len(tokens)):
        text = tokens[number].decode("utf-8", "replace")
        if "\ufffd" not in text:
            found.setdefault(text, number)
    return found


def _log_softmax(logits: np.ndarray) -> np.ndarray:
    """(..., tokens) of the same."""
    most = logits.max(axis=-1, keepdims=True)
    return logits - most - np.log(np.exp(logits - most).sum(axis=-1, keepdims=True))
