"""Looks in one utterance for a number: the one in the words, and all that it could be taken for."""

from collections.abc import Callable, Sequence

import numpy as np

from prompter import limits
from prompter.hear.beside import SecondView
from prompter.hear.numbers import Quantity, Reading, around, guesses, oddly_written, reading_in
from prompter.hear.whisper_model import Encoded, WhisperModel


class NumberSearch:
    """With one loaded model. `silent`: mean log probability a token of wordings in a quiet room.
    `second`: the same utterance as the second model hears it, where there is one."""

    def __init__(
        self,
        model: WhisperModel,
        silent: Callable[[Sequence[str]], list[float]],
        second: SecondView | None = None,
    ) -> None:
        self._model, self._silent, self._second = model, silent, second

    def find(
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
        """Of each as written, and as spoken in the likeliest way, by one model or the mean of both.
        Silence counts alike for every value said one way."""
        plainest = [r.plainest for r in readings]
        ways = list(dict.fromkeys(way for r in readings for way in (r.wording, *r.spoken)))
        plain = list(dict.fromkeys(way for p in plainest for way in (p.wording, p.spoken[0])))
        asked = self._second.ask([*ways, *plain]) if self._second is not None else None
        heard = [found.mean for found in self._model.likely(encoded, ways)]
        views = [(dict(zip(ways, heard, strict=True)), dict(zip(plain, self._silent(plain), strict=True)))]
        if asked is not None:
            others = dict(zip([*ways, *plain], asked(), strict=True))
            views.append(({w: others[w].heard.mean for w in ways}, {w: others[w].silent for w in plain}))
        written, spoken = np.zeros(len(readings)), np.zeros(len(readings))
        for mean, silent in views:
            for n, (r, p) in enumerate(zip(readings, plainest, strict=True)):
                written[n] += mean[r.wording] - limits.SILENCE_SHARE * silent[p.wording]
                spoken[n] += max(mean[way] for way in r.spoken) - limits.SILENCE_SHARE * silent[p.spoken[0]]
        return (written / len(views)).tolist(), (spoken / len(views)).tolist()

    def _sought(self, encoded: Encoded, text: str, asks_number: bool) -> list[Reading]:
        """A number that was not decoded clearly: the one in the words, in the likeliest way of saying
        it, and what it could be taken for; without one by its tens first, then by its ones."""
        tries = guesses(text, asks_number)
        if not tries:
            return []
        wordings = [r.spoken[0] for r in tries]
        heard = self._model.likely(encoded, wordings)
        silent = self._silent(wordings)
        scores = [h.mean - limits.SILENCE_SHARE * s for h, s in zip(heard, silent, strict=True)]
        best = [reading for reading, _ in _best_first(tries, scores)[: limits.TENS_TRIED]]
        if len({reading.value for reading in tries}) == 1:
            return [best[0], *best[0].rivals()]
        return list(dict.fromkeys(near for reading in best for near in around(reading)))


def _best_first(readings: Sequence[Reading], scores: Sequence[float]) -> list[tuple[Reading, float]]:
    return sorted(zip(readings, scores, strict=True), key=lambda pair: -pair[1])
