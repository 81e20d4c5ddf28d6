"""Fits the weights of prompter/hear/thresholds.py, and shows what thresholds would give.

python tests/bench/fit_decision.py [--alone] [--audio DIR] [--out DIR] [--cases N] [--jobs 2] [--report]

Needs the extra `bench`. DIR of --audio holds spoken-words/ and room-noise/ (default
../shared/audio). One half of speakers and voices (`fit`) is fitted on and shown by
cross-validation over its voices; the other half only with --report. --alone: without the second model. Every case is kept in --out at
once: interrupt it, and run it again to go on. Seeds are fixed.
"""

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
from fit_cases import fit_case
from scipy.optimize import minimize
from sounds import utterances
from wordings import known

from prompter import limits
from prompter.events import Phrase
from prompter.hear.beside import SecondModel
from prompter.hear.clues import Clues, Room, Weights, features, none_features
from prompter.hear.decision import decide
from prompter.hear.detector import SpeechDetector
from prompter.hear.ear import Besides, Ranking
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.hearing import competing, rivals_of

HERE = Path(__file__).parent
FIRST = ("mean", "silent", "tokens", "least", "like_first", "decoy")
ALONE = ("like",)
BOTH = ("other_mean", "other_silent", "other_tokens", "other_least", "other_like")
"""What weighs at either look besides, with one model and with both."""

LOOKS = {
    "alone": {"first": (*FIRST, *ALONE), "closer": (*FIRST, "longer", *ALONE)},
    "both": {"first": (*FIRST, *BOTH), "closer": (*FIRST, *BOTH, "other_again")},
}

DENIAL = -1.0
"""Set, not fitted: fitted to how rarely the cases here deny something it would be about -2.8, and
'not going up' in noise too often 'going up'."""

NONE = ("none", "none_free", "none_length", "none_long")
NONE_BOTH = (*NONE, "none_other_free")
FOLDS = 4
RIDGE = 1e-4
LEVELS = (-1.0, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0)
Row = dict[str, Any]


class NotingEar(EmbeddedEar):
    """The embedded ear; what each look rests on is noted."""

    ends_early = False

    def begin(self) -> None:
        self.noted: list[tuple[Sequence[Clues], Room]] = []

    def _ranked(self, clues: Sequence[Clues], room: Room, weights: Weights) -> list[tuple[Phrase, float]]:
        self.noted.append((clues, room))
        return super()._ranked(clues, room, weights)


def measured(half: str, numbers: Sequence[int], audio: Path, cache: Path, alone: bool) -> Iterator[Row]:
    second = None if alone else SecondModel(cache=cache)
    ear, detector, rivals = NotingEar(threads=1, cache=cache, second=second), SpeechDetector(), rivals_of(known())
    ear.load()
    for number in numbers:
        case = fit_case(half, number, audio)
        heard = []
        for first_ms, last_ms, sound in utterances(case.sound, detector):
            if last_ms >= case.starts_ms and first_ms <= case.ends_ms:
                ear.begin()
                ranking = ear.score(sound, competing(case.allowed, rivals))
                ranking.closer()
                heard.append({"texts": ranking.texts} | dict(zip(("first", "closer"), map(_looked, ear.noted), strict=True)))
        yield case.about | {"half": half, "number": number, "answer": case.answer, "heard": heard}


def _looked(noted: tuple[Sequence[Clues], Room]) -> Row:
    clues, room = noted
    return {
        "none": none_features(room),
        "wordings": [[c.phrase.text, c.phrase.answer, c.phrase.risk, features(c)] for c in clues],
    }


def measure(half: str, count: int, jobs: int, audio: Path, out: Path, alone: bool) -> list[Row]:
    """All rows of a half, those kept before and those still missing."""
    kind = "alone" if alone else "both"
    paths = [out / f"fit-{kind}-{half}-{job}-of-{jobs}.jsonl" for job in range(jobs)]
    with ProcessPoolExecutor(jobs) as pool:
        shares = [range(job, count, jobs) for job in range(jobs)]
        list(pool.map(_measure_share, repeat(half), shares, repeat(audio), paths, repeat(alone)))
    rows = [json.loads(line) for path in paths for line in path.open()]
    return sorted((r for r in rows if r["number"] < count), key=lambda r: r["number"])


def _measure_share(half: str, numbers: Sequence[int], audio: Path, path: Path, alone: bool) -> None:
    kept = {json.loads(line)["number"] for line in path.open()} if path.exists() else set()
    missing = [number for number in numbers if number not in kept]
    with path.open("a") as file:
        for row in measured(half, missing, audio, path.parent, alone):
            file.write(json.dumps(row) + "\n")
            file.flush()
            if row["number"] % 100 < 2:  # the two jobs' own
                print(f"{half}: case {row['number']}", flush=True)


# ---- the fit ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """One utterance at one look. `wordings`: (n, features); `right`: which of them, then of none,
    would be right; `denials`: what the fixed weight adds to each."""

    wordings: np.ndarray
    denials: np.ndarray
    none: np.ndarray
    right: np.ndarray


def sample(row: Row, look: Row, names: Sequence[str], none_names: Sequence[str]) -> Sample:
    found = [[f[name] for name in names] for *_, f in look["wordings"]]
    if row["answer"] is None:
        right = [not answer for _, answer, *_ in look["wordings"]]
    else:
        right = [answer == row["answer"] for _, answer, *_ in look["wordings"]]
    none = row["answer"] is None or not any(right)
    denials = np.array([DENIAL * f["denial"] for *_, f in look["wordings"]])
    return Sample(np.array(found), denials, np.array([look["none"][n] for n in none_names]), np.array([*right, none]))


def loss(weights: np.ndarray, samples: Sequence[Sample]) -> tuple[float, np.ndarray]:
    """Mean negative log-likelihood with a little ridge, and its gradient."""
    k = samples[0].wordings.shape[1]
    total, slope = 0.0, np.zeros_like(weights)
    for s in samples:
        scores = np.append(s.wordings @ weights[:k] + s.denials, s.none @ weights[k:])
        chances = np.exp(scores - scores.max())
        chances /= chances.sum()
        own = np.where(s.right, chances, 0.0)
        total -= np.log(own.sum() + 1e-300)
        off = chances - own / (own.sum() + 1e-300)
        slope[:k] += s.wordings.T @ off[:-1]
        slope[k:] += s.none * off[-1]
    n = len(samples)
    return total / n + RIDGE * float(weights @ weights), slope / n + 2 * RIDGE * weights


def fit(samples: Sequence[Sample], names: Sequence[str]) -> Weights:
    """`names`: of what weighs for a wording, then for none."""
    begin = np.zeros(len(names))
    found = minimize(loss, begin, args=(samples,), jac=True, method="L-BFGS-B", options={"maxiter": 300})
    return dict(zip(names, found.x.tolist(), strict=True)) | {"denial": DENIAL}


# ---- what it gives ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Decided:
    """The likeliest answer of one utterance. `refused`: by the words, whatever the score."""

    row: Row
    answer: str
    wording: str
    risk: str
    score: float
    refused: bool
    text: str

    @property
    def right(self) -> bool:
        return self.answer == self.row["answer"]


def decided(row: Row, heard: Row, look: str, weights: Weights) -> Decided:
    """By the program's own decision, with these weights."""
    none = sum(weights[n] * v for n, v in heard[look]["none"].items())
    found = [
        (Phrase(text, answer, risk), sum(weights[n] * v for n, v in f.items()) - none, f)
        for text, answer, risk, f in heard[look]["wordings"]
    ]
    found.sort(key=lambda wording: -wording[1])
    share = limits.SILENCE_SHARE
    verdict = decide([Ranking(
        "whisper",
        [(phrase, score) for phrase, score, _ in found],
        evidence={p.text: f["mean"] - share * f["silent"] for p, _, f in found},
        text=heard["texts"][0],
        window=limits.WINDOW_FRAMES,
        besides=_besides(heard["texts"][1:], {p.text: f for p, _, f in found}),
    )])  # fmt: skip
    best = verdict.heard
    refused = verdict.why not in ("", "not sure enough")
    return Decided(row, best.answer, best.text, best.risk, verdict.score, refused, heard["texts"][0])


def _besides(texts: Sequence[str], found: Mapping[str, Row]) -> Besides | None:
    if not texts:
        return None
    share = limits.SILENCE_SHARE
    evidence = {text: f["other_mean"] - share * f["other_silent"] for text, f in found.items()}
    return Besides("moonshine", texts[0], evidence)


def show(title: str, some: Sequence[Decided]) -> None:
    print(f"\n{title}: right% / another answer believed / no answer believed, by least log-odds")
    for where in [*sorted({d.row["where"] for d in some}), "all"]:
        here = [d for d in some if where in ("all", d.row["where"])]
        given = [d for d in here if d.row["answer"] is not None]
        other = [d for d in here if d.row["answer"] is None]
        cells = []
        for level in LEVELS:
            held = [d for d in given if d.score >= level and not d.refused]
            right = 100 * sum(d.right for d in held) / max(1, len(given))
            taken = sum(d.score >= level and not d.refused for d in other)
            cells.append(f"{level:g}: {right:.1f}/{sum(not d.right for d in held)}/{taken}")
        print(f"  {where:14s} n {len(given):4d}/{len(other):4d}  " + "  ".join(cells))


def show_worst(some: Sequence[Decided], count: int) -> None:
    wrong = [d for d in some if not d.right and not d.refused]
    for d in sorted(wrong, key=lambda d: -d.score)[:count]:
        print(f"    {d.score:+.1f} {d.row['kind']}, {d.row['voice']}, {d.row['where']}: said"
              f" '{d.row['said']}', best '{d.wording}' ({d.risk}), decode '{d.text}'")  # fmt: skip


def fold_of(row: Row) -> int:
    """The voices of the fit half in four parts; people by their file."""
    return crc32(row["voice"].encode()) % FOLDS


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path, default=HERE.parents[2] / "shared" / "audio")
    parser.add_argument("--out", type=Path, default=HERE / "results" / "fit")
    parser.add_argument("--cases", type=int, default=2000, help="of each half")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--alone", action="store_true", help="without the second model")
    parser.add_argument("--report", action="store_true", help="show the other half as well")
    parser.add_argument("--worst", type=int, default=25, help="wrong ones to list")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    halves = ("fit", "report") if args.report else ("fit",)
    found = {half: measure(half, args.cases, args.jobs, args.audio, args.out, args.alone) for half in halves}
    none_names = NONE if args.alone else NONE_BOTH
    for look, names in LOOKS["alone" if args.alone else "both"].items():
        pairs = [(row, heard) for row in found["fit"] for heard in row["heard"]]
        samples = [(sample(row, heard[look], names, none_names), fold_of(row)) for row, heard in pairs]
        crossed = [fit([s for s, f in samples if f != fold], (*names, *none_names)) for fold in range(FOLDS)]
        whole = fit([s for s, _ in samples], (*names, *none_names))
        print(look, {name: round(value, 2) for name, value in whole.items()})
        for half in halves:
            some = [
                decided(row, heard, look, crossed[fold_of(row)] if half == "fit" else whole)
                for row in found[half] for heard in row["heard"]
            ]  # fmt: skip
            show(f"{half}, {look} look", some)
            show_worst(some, args.worst if look == "closer" else 0)


if __name__ == "__main__":
    main()
