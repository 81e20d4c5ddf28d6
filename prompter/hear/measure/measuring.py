"""Counts what the hearing makes of recordings: right, wrong, asked again, taken."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from prompter import limits
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear.clip import read_clip
from prompter.hear.ear import Ear
from prompter.hear.hearing import Heard
from prompter.hear.listening import listen
from prompter.hear.measure.bounds import upper_bound, upper_count
from prompter.hear.measure.mixing import Surroundings, active_rms
from prompter.hear.measure.recordings import SILENCE, Recordings, evenly
from prompter.hear.shortlist import plain_words

OUTCOMES = ("right", "wrong", "asked_again")


@dataclass(frozen=True, slots=True)
class Job:
    """One file to be heard. `label` is None for room noise alone."""

    path: Path
    label: str | None


@dataclass(slots=True)
class Tally:
    """What was counted so far; `damaged`: files that could not be read, and why."""

    words: dict[str, dict[str, int]] = field(default_factory=dict)
    others: dict[str, dict[str, int]] = field(default_factory=dict)
    noise_samples: int = 0
    noise_taken: int = 0
    decide_ms: list[int] = field(default_factory=list)
    damaged: list[tuple[Path, str]] = field(default_factory=list)
    trouble: dict[str, int] = field(default_factory=dict)
    wrong: list[dict[str, str]] = field(default_factory=list)


class Measurement:
    """Hears one file after the other. What has been counted stands at any moment (`record`)."""

    def __init__(
        self,
        recordings: Recordings,
        ears: Sequence[Ear],
        allowed: Sequence[Phrase],
        surroundings: Surroundings | None = None,
    ) -> None:
        self._recordings, self._ears, self._allowed = recordings, ears, allowed
        self._surroundings = surroundings
        self._answers = {plain_words(p.text): p.answer for p in allowed}
        self.tally = Tally()
        for label in recordings.spoken:
            if self._answer_of(label) is None:
                self.tally.others[label] = {"clips": 0, "taken": 0}
            else:
                self.tally.words[label] = {"clips": 0, **dict.fromkeys(OUTCOMES, 0)}

    def jobs(self) -> list[Job]:
        """Everything there is to hear, in a fixed order."""
        spoken = [Job(p, label) for label, paths in self._recordings.spoken.items() for p in paths]
        return spoken + [Job(p, None) for paths in self._recordings.noise.values() for p in paths]

    def take(self, job: Job) -> str:
        """Hear one file and count it; why it could not be read, or empty. Stopped halfway (Ctrl-C),
        it counts nothing."""
        try:
            sound = read_clip(job.path)
        except CannotDo as error:
            self.tally.damaged.append((job.path, error.what))
            return error.one_line()
        if self._surroundings and job.label is not None:
            name = f"{job.label}/{job.path.name}"
            heard_in = self._surroundings.around(sound, name, job.label != SILENCE)
        else:
            heard_in = sound
        listened = listen(heard_in, self._ears, self._allowed)
        self._count(job, len(sound), listened.heard)
        for line in listened.trouble:
            self.tally.trouble[line] = self.tally.trouble.get(line, 0) + 1
        return ""

    def _count(self, job: Job, samples: int, heard: list[Heard]) -> None:
        tally = self.tally
        tally.decide_ms += [h.decide_ms for h in heard if h.ears]
        believed = [h for h in heard if h.believed]
        if job.label is None:
            tally.noise_samples += samples
            tally.noise_taken += len(believed)
        elif (right := self._answer_of(job.label)) is None:
            tally.others[job.label]["clips"] += 1
            tally.others[job.label]["taken"] += bool(believed)
        else:
            outcome = "right" if believed else "asked_again"
            if any(h.heard is None or h.heard.answer != right for h in believed):  # None: a number
                outcome = "wrong"
            tally.words[job.label]["clips"] += 1
            tally.words[job.label][outcome] += 1
            if outcome != "wrong":
                return
        tally.wrong += [{"file": str(job.path), "heard": _name_of(h)} for h in believed]

    def _answer_of(self, label: str) -> str | None:
        return self._answers.get(plain_words(label.replace("_", " ").replace("-", " ")))

    def record(self) -> dict[str, Any]:
        """JSON-ready: what CONTRACTS promises, with bounds, and what was left out."""
        tally = self.tally
        words = {k: v | _bound("wrong", v["wrong"], v["clips"]) for k, v in tally.words.items()}
        others = {k: v | _bound("taken", v["taken"], v["clips"]) for k, v in tally.others.items()}
        seconds = tally.noise_samples / limits.SAMPLE_RATE_HZ
        hourly = upper_count(tally.noise_taken) * 3600 / seconds if seconds else None
        return {
            "ears": [ear.name for ear in self._ears],
            "phrases": [p.text for p in self._allowed],
            "words": words,
            "all_words": self._all_words(),
            "others": others,
            "noise": {
                "seconds": round(seconds, 2),
                "taken": tally.noise_taken,
                "taken_per_hour_at_most": None if hourly is None else round(hourly, 2),
            },
            "decide_ms": _percentiles(tally.decide_ms),
            "damaged": [{"file": str(path), "why": why} for path, why in tally.damaged],
            "believed_and_should_not": tally.wrong,
            "trouble": [f"{line} ({times} times)" for line, times in tally.trouble.items()],
        }

    def _all_words(self) -> dict[str, float]:
        rows = self.tally.words.values()
        total = {name: sum(row[name] for row in rows) for name in ("clips", *OUTCOMES)}
        return total | _bound("wrong", total["wrong"], total["clips"])


def typical_speech_rms(recordings: Recordings) -> float:
    """Median level of the speech in the folder, for clips that have none. float, full scale is 1."""
    paths = [p for label, some in recordings.spoken.items() if label != SILENCE for p in some]
    levels = [rms for rms in _levels(evenly(paths, limits.NOISE_LEVEL_CLIPS)) if rms > 0]
    return float(np.median(levels)) if levels else 10 ** (-26 / 20)  # -26 dBov, usual in telephony; from memory


def _levels(paths: Sequence[Path]) -> Iterator[float]:
    for path in paths:
        try:
            yield active_rms(read_clip(path))
        except CannotDo:
            continue


def _name_of(heard: Heard) -> str:
    return heard.heard.text if heard.heard else " ".join(map(str, heard.number or ()))


def _bound(name: str, count: int, n: int) -> dict[str, float]:
    return {f"{name}_at_most": round(upper_bound(count, n), 5)}


def _percentiles(values: list[int]) -> dict[str, int]:
    if not values:
        return {"p50": 0, "p95": 0, "n": 0}
    p50, p95 = np.percentile(values, [50, 95])
    return {"p50": round(float(p50)), "p95": round(float(p95)), "n": len(values)}
