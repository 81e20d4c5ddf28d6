"""Fits the weights and thresholds of prompter/hear/thresholds.py, and reports the other half.

python tests/bench/fit_decision.py AUDIO [--out DIR] [--clips N]

AUDIO holds spoken-words/ and room-noise/. Rows are kept in DIR, so an interrupted run goes on.
"""

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
from sounds import (
    CONDITIONS,
    FIT_VOICES,
    REPORT_VOICES,
    allowed_for,
    in_surroundings,
    noises,
    people,
    say,
    utterances,
)  # fmt: skip
from wordings import OTHER_TALK, phrases

from prompter.events import Phrase
from prompter.hear.decision import features, negated, negation_lost
from prompter.hear.decoys import DECOYS
from prompter.hear.detector import SpeechDetector
from prompter.hear.ear import Ranking
from prompter.hear.shortlist import plain_words
from prompter.hear.whisper_ear import WhisperEar

NAMES = ("evidence", "margin")
WORDS = [Phrase(w, w) for w in ("yes", "no", "stop", "done", "help me", "say again", "go back")]
Row = dict[str, Any]


def among(allowed: list[Phrase], known: list[Phrase]) -> list[Phrase]:
    """The allowed phrases with everything else as decoys, as `Hearing.expect` does it."""
    taken = {plain_words(p.text) for p in allowed}
    denied = [f"not {p.text}" for p in allowed if not negated(p.text)]
    others = dict.fromkeys([*(p.text for p in known), *DECOYS, *denied])
    return allowed + [Phrase(t, "") for t in others if plain_words(t) not in taken]


def row_of(ranking: Ranking, truth: str | None, about: Row) -> Row | None:
    """The features of the best allowed phrase, and whether it is right."""
    answers = [pair for pair in ranking.ranked if pair[0].answer]
    if not answers:
        return None
    best, evidence = answers[0]
    rival = next((s for p, s in ranking.ranked if p.answer != best.answer), None)
    margin = None if rival is None else evidence - rival
    return about | {
        "heard": best.text, "text": ranking.text, "right": best.answer == truth,
        "lost": negation_lost(ranking.text, best.text),
        "f": features(evidence, margin),
    }  # fmt: skip


def synthetic(half: str, audio: Path, clips: int, out: Path, ear: WhisperEar) -> None:
    """Wordings and other talk by voices, each with its answer allowed and with it not allowed."""
    every = phrases()
    answer_of = {p.text: p.answer for p in every}
    voices = FIT_VOICES if half == "fit" else REPORT_VOICES
    jobs = [(v, w, c) for v in voices for w in [*answer_of, *OTHER_TALK] for c in CONDITIONS]
    order = np.random.default_rng(1 if half == "fit" else 2).permutation(len(jobs))[:clips]
    kinds = {kind: noises(audio, kind) for _, kind, _ in CONDITIONS if kind}
    detector = SpeechDetector()
    done = sum(1 for _ in out.open()) if out.exists() else 0
    with out.open("a") as file:
        for number, at in enumerate(order):
            if number < done:
                continue
            voice, text, (condition, kind, snr_db) = jobs[at]
            choice = kinds[kind][int(at) % len(kinds[kind])] if kind else None
            spoken = in_surroundings(say(text, voice), choice, snr_db, int(at))
            truth = answer_of.get(text)
            rows: list[Row | None] = []
            for first, last, sound in utterances(spoken.sound, detector):
                if last < spoken.starts_ms or first > spoken.ends_ms:
                    continue
                about = {"said": text, "where": condition, "voice": voice[0]}
                for allow in (truth, None) if truth else (None,):
                    some = [p for p in every if p.answer != truth] if allow is None else every
                    allowed = among(allowed_for(allow, some, int(at)), every)
                    expected = truth if allow else None
                    rows.append(row_of(ear.score(sound, allowed), expected, about))
            file.write(json.dumps([r for r in rows if r]) + "\n")
            file.flush()
            if number % 200 == 199:
                print(f"{half}: {number + 1} of {len(order)} clips", flush=True)


def recorded(half: str, audio: Path, out: Path, ear: WhisperEar) -> None:
    """People saying yes, no, stop and unknown words, clean and with crying at 5 dB."""
    if out.exists():
        return
    crying, detector, rows = noises(audio, "baby-cry"), SpeechDetector(), []
    for word in ("yes", "no", "stop", "unknown", "silence"):
        for number, (_name, clip) in enumerate(people(audio, word, half)):
            for where, noise in (("clean", None), ("crying 5 dB", crying[number % len(crying)])):
                spoken = in_surroundings(clip, noise, 5, number)
                about = {"said": word, "where": f"people, {where}", "voice": "people"}
                for _first, _last, sound in utterances(spoken.sound, detector):
                    ranking = ear.score(sound, among(WORDS, []))
                    rows.append(row_of(ranking, word, about))
    out.write_text("\n".join(json.dumps([r]) for r in rows if r) + "\n")


def read(paths: list[Path]) -> list[Row]:
    return [row for path in paths for line in path.open() for row in json.loads(line)]


def fit(rows: list[Row]) -> tuple[float, np.ndarray]:
    """Logistic regression with a little ridge; (bias, weights of NAMES)."""
    x = np.array([[row["f"][name] for name in NAMES] for row in rows])
    y = np.array([row["right"] for row in rows], float)
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-9
    z = np.c_[np.ones(len(x)), (x - mean) / spread]
    w, ridge = np.zeros(z.shape[1]), np.diag([0.0] + [1.0] * len(NAMES))
    for _ in range(50):
        p = 1 / (1 + np.exp(-z @ w))
        hessian = (z.T * (p * (1 - p))) @ z + ridge
        w -= np.linalg.solve(hessian, z.T @ (p - y) + ridge @ w)
    weights = w[1:] / spread
    return float(w[0] - weights @ mean), weights


def log_odds(rows: list[Row], bias: float, weights: np.ndarray) -> np.ndarray:
    odds = bias + np.array([[row["f"][name] for name in NAMES] for row in rows]) @ weights
    refused = [row["lost"] or row["f"]["margin"] <= 0 for row in rows]
    return np.where(refused, -9.0, odds)


def report(title: str, rows: list[Row], odds: np.ndarray, levels: tuple[float, ...]) -> None:
    right = np.array([row["right"] for row in rows])
    print(f"\n{title}: {right.sum()} right, {(~right).sum()} wrong or not allowed")
    for where in sorted({row["where"] for row in rows}):
        here = np.array([row["where"] == where for row in rows])
        parts = [
            f"{level:+.1f}: {100 * (odds[here & right] >= level).mean():5.1f}%"
            f" / {(odds[here & ~right] >= level).sum():3d}"
            for level in levels
        ]
        print(f"  {where:22s} n {(here & right).sum():4d}/{(here & ~right).sum():4d}  "
              + "  ".join(parts))  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("audio", type=Path)
    parser.add_argument("--out", type=Path, default=Path("bench-out"))
    parser.add_argument("--clips", type=int, default=1500)
    parser.add_argument("--worst", type=int, default=12, help="wrong ones to list")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    ear = WhisperEar()
    ear.load()
    halves: dict[str, list[Row]] = {}
    for half in ("fit", "report"):
        files = [args.out / f"fit-{half}-{kind}.jsonl" for kind in ("synthetic", "recorded")]
        synthetic(half, args.audio, args.clips, files[0], ear)
        recorded(half, args.audio, files[1], ear)
        halves[half] = read(files)
    bias, weights = fit(halves["fit"])
    print(f"BIAS = {bias:.2f}", dict(zip(NAMES, weights.round(2).tolist(), strict=True)))
    for half, rows in halves.items():
        odds = log_odds(rows, bias, weights)
        report(half, rows, odds, (0.0, 1.0, 2.0, 3.0, 4.0))
        wrong = [(o, r) for o, r in zip(odds, rows, strict=True) if not r["right"]]
        for o, r in sorted(wrong, key=lambda pair: -pair[0])[: args.worst]:
            print(f"    {o:+.1f} {r['voice']}, {r['where']}: said '{r['said']}',"
                  f" best '{r['heard']}', decode '{r['text']}'")  # fmt: skip


if __name__ == "__main__":
    main()
