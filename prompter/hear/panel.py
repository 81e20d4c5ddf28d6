"""The ears together: asks each, looks closer in doubt, drops one that fails, comes to one verdict."""

from collections.abc import Callable, Sequence

import numpy as np

from prompter.events import Phrase
from prompter.hear.clearness import rises_db
from prompter.hear.decision import Verdict, decide, in_doubt
from prompter.hear.ear import Ear, Ranking
from prompter.hear.thresholds import extra_in_noise


class Panel:
    """One verdict from all ears that still work. Used by one thread at a time."""

    def __init__(self, ears: Sequence[Ear]) -> None:
        self._ears = list(ears)
        self._trouble: list[str] = []
        self._spared: list[tuple[str, str]] = []
        self._asking: Ear | None = None

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(ear.name for ear in self._ears)

    def judge(
        self,
        sound: np.ndarray,
        phrases: Sequence[Phrase],
        asks_number: bool = False,
        stricter: float = 0.0,
        wanted: Callable[[], bool] = lambda: True,
    ) -> Verdict:
        """Ask every ear about `sound` (float32, mono, 16 kHz). `stricter`: see `decide`; `wanted`:
        whether a closer look is still worth its time, as the speaker may have gone on meanwhile."""
        rankings: list[Ranking] = []
        for ear in list(self._ears):
            self._asking = ear
            try:
                ranking = ear.score(sound, phrases, asks_number)
            except Exception as error:  # noqa: BLE001 - whatever a recogniser raises
                self.lose(ear, f"{type(error).__name__}: {error}")
                continue
            if ear not in self._ears:  # given up meanwhile: another thread goes on with the rest
                return Verdict(why="the ear did not answer in time")
            rankings.append(ranking)
        stricter = max(stricter, extra_in_noise(rises_db(sound)))
        verdict = decide(rankings, stricter)
        if in_doubt(verdict) and wanted():
            verdict = decide([self._closer(ranking) for ranking in rankings], stricter)
        self._asking = None
        return verdict

    def _closer(self, ranking: Ranking) -> Ranking:
        """The same sound looked at again; the first look where that fails or there is no other."""
        if ranking.closer is None:
            return ranking
        self._asking = next((ear for ear in self._ears if ear.name == ranking.ear), None)
        try:
            return ranking.closer()
        except Exception as error:  # noqa: BLE001 - whatever a recogniser raises
            self.lose(self._asking, f"{type(error).__name__}: {error}")
            return ranking

    def lose(self, ear: Ear | None, why: str) -> None:
        """Stop asking this ear, and say so. Without the first, which scores, nothing is believed."""
        if ear in self._ears:
            scores = ear is self._ears[0]
            self._ears.remove(ear)
            if scores:
                self._trouble.append(f"the ear '{ear.name}' failed and is dropped: {why}")
            else:
                self._spared.append((ear.name, why))

    @property
    def asking(self) -> Ear | None:
        """The ear that is being asked now (read by the watchdog)."""
        return self._asking

    def trouble(self) -> list[str]:
        found, self._trouble = self._trouble, []
        return found

    def spared(self) -> list[tuple[str, str]]:
        """What was lost since the last call without making it deaf: an ear besides the first, or a
        model besides an ear's own; (its name, why)."""
        found, self._spared = self._spared, []
        for ear in self._ears:
            found += getattr(ear, "spared", list)()
        return found

    def regained(self) -> list[str]:
        """Models besides an ear's own that answer again since the last call."""
        return [name for ear in self._ears for name in getattr(ear, "regained", list)()]
