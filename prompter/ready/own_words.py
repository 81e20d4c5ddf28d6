"""Has the caregiver say the answers, one at a time, and finds what to say and what to avoid.

Each recording is on disk before it is judged, so stopping at any moment loses nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from prompter import limits
from prompter.events import Phrase
from prompter.hear.clip import read_clip
from prompter.hear.takes import Takes, find_takes, keep_take
from prompter.hear.tuning import Advice, Judge, Judged, WordingFound, advise
from prompter.ready.sayings import Occasion, Saying

Steps = Callable[[str, str], Sequence[tuple[str, Sequence[Phrase]]]]


class Screen(Protocol):
    """What the caregiver sees and is asked. Any of these may raise KeyboardInterrupt: stop."""

    def begin(self, occasion: str, words: int) -> bool:
        """So many words come next, said on this occasion; False: not today."""
        ...

    def say(self, wording: str, occasion: str, take: int) -> None: ...
    def nothing_heard(self) -> None: ...
    def heard(self, judged: Judged, wording: str) -> None: ...

    def keep(self) -> bool:
        """Whether a recording that was not understood counts; False: it was a slip."""
        ...

    def other_wording(self, wording: str) -> bool:
        """Whether another wording shall be tried, as the one before is not always understood."""
        ...


@dataclass(frozen=True, slots=True)
class AnswerFound:
    """What the recordings of an answer show; `wordings` in the flow's order, those recorded only."""

    saying: Saying
    wordings: tuple[WordingFound, ...]

    @property
    def advice(self) -> Advice:
        return advise(self.wordings, self.saying.wordings[0])


class OwnWords:
    """The recordings in a folder, what they show, and how more are added."""

    def __init__(
        self, folder: Path, occasions: Sequence[Occasion], judge: Judge, steps: Steps
    ) -> None:
        self._folder, self._judge, self._steps = folder, judge, steps
        self.occasions = tuple(occasions)
        self._answer_of = {w: s.answer for o in occasions for s in o.sayings for w in s.wordings}
        self._takes = find_takes(folder, self._answer_of) if folder.is_dir() else Takes()
        self._judged: dict[Path, Judged] = {}

    @property
    def ignored(self) -> list[Path]:
        """Sound files that are no wording of the flow."""
        return self._takes.ignored

    @property
    def recordings(self) -> int:
        return sum(len(paths) for paths in self._takes.of.values())

    def judge_kept(self, done: Callable[[int, int], None] = lambda n, of: None) -> None:
        """Judges the recordings that are there. Raises CannotDo for one that cannot be read."""
        kept = [(w, path) for w, paths in self._takes.of.items() for path in paths]
        for number, (wording, path) in enumerate(kept, 1):
            self._judged[path] = self._judgement(read_clip(path), wording)
            done(number, len(kept))

    def found(self, occasion: Occasion) -> list[AnswerFound]:
        """What is known of each answer of an occasion."""
        return [AnswerFound(s, tuple(self._known_of(s))) for s in occasion.sayings]

    # ---- recording ----------------------------------------------------------------------------

    def record(
        self, listen: Callable[[], np.ndarray | None], screen: Screen, every_wording: bool = False
    ) -> bool:
        """Asks for what is missing; False if something still is. `listen`: the next utterance,
        None if nobody spoke. Raises CannotDo without a microphone or room on the disk."""
        for occasion in self.occasions:
            words = sum(
                len(self._wanted(s, every_wording)) or self._unsettled(s) for s in occasion.sayings
            )
            if not words:
                continue
            if not screen.begin(occasion.title, words):
                return False
            for saying in occasion.sayings:
                self._record_saying(saying, occasion.title, listen, screen, every_wording)
        return all(not self._wanted(s, every_wording) for o in self.occasions for s in o.sayings)

    def _wanted(self, saying: Saying, every_wording: bool) -> list[str]:
        wordings = saying.wordings if every_wording else saying.wordings[:1]
        return [w for w in wordings if len(self._takes.of.get(w, ())) < limits.TAKES_A_WORDING]

    def _unsettled(self, saying: Saying) -> bool:
        """Whether what was recorded is not always understood, and another wording is left to try."""
        known = self._known_of(saying)
        left = any(w not in self._takes.of for w in saying.wordings)
        return bool(known) and left and not any(w.grade == "good" for w in known)

    def _record_saying(
        self, saying: Saying, occasion: str, listen: Callable[[], np.ndarray | None],
        screen: Screen, every_wording: bool,
    ) -> None:  # fmt: skip
        for wording in self._wanted(saying, every_wording):
            self._record_wording(wording, occasion, listen, screen)
        for wording in saying.wordings[1:]:
            if not self._unsettled(saying):
                return
            if wording not in self._takes.of:
                if not screen.other_wording(wording):
                    return
                self._record_wording(wording, occasion, listen, screen)

    def _record_wording(
        self, wording: str, occasion: str, listen: Callable[[], np.ndarray | None], screen: Screen
    ) -> None:
        paths = self._takes.of.setdefault(wording, [])
        tries = 0
        while len(paths) < limits.TAKES_A_WORDING and tries < limits.TAKE_TRIES:
            screen.say(wording, occasion, len(paths) + 1)
            sound = listen()
            if sound is None:
                tries += 1
                screen.nothing_heard()
                continue
            path = keep_take(self._folder, wording, sound)
            judged = self._judgement(sound, wording)
            screen.heard(judged, wording)
            if judged.outcome != "believed" and not screen.keep():
                path.unlink(missing_ok=True)
                continue
            paths.append(path)
            self._judged[path] = judged

    def _judgement(self, sound: np.ndarray, wording: str) -> Judged:
        answer = self._answer_of[wording]
        return self._judge.judge(sound, answer, self._steps(answer, wording))

    def _known_of(self, saying: Saying) -> list[WordingFound]:
        known = []
        for wording in saying.wordings:
            paths = self._takes.of.get(wording, ())
            takes = tuple(self._judged[path] for path in paths if path in self._judged)
            if takes:
                known.append(WordingFound(wording, takes))
        return known
