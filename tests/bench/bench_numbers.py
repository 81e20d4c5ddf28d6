"""Measures how numbers are heard where a saturation was asked for: believed, asked back, wrong.

python tests/bench/bench_numbers.py [--audio DIR] [--half fit|report] [--clips N] [--out DIR]

Synthetic voices of the half that tuned nothing (sounds.py), every way of saying a number, quiet and
with crying. Values near 90 are drawn more often: they decide. What is asked back is said again, a little
faster or slower, higher or lower: the same number heard again counts, whoever says it. Finished clips
are kept in DIR.
"""

import argparse
import json
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from sounds import FIT_VOICES, REPORT_VOICES, Spoken, in_surroundings, noises, say, utterances

from prompter.events import Phrase
from prompter.flow.reading import load_flow
from prompter.hear.decision import Verdict, may_read_back
from prompter.hear.detector import SpeechDetector
from prompter.hear.ears import embedded_ear
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.numbers import Reading
from prompter.hear.panel import Panel
from prompter.resources import flow_file, shared_file

WAYS = {
    "96 percent": lambda n: Reading("spo2", n, "", "%").spoken[0],
    "oxygen 96": lambda n: Reading("spo2", n, "oxygen").spoken[0],
    "oxygen nine six": lambda n: Reading("spo2", n, "oxygen").spoken[-1],
    "sats 96": lambda n: Reading("spo2", n, "sats").spoken[0],
    "96": lambda n: Reading("spo2", n).spoken[0],
    "heart rate 140": lambda n: Reading("pulse", n, "heart rate").spoken[0],
}
CONDITIONS = (("quiet", 0), ("crying 10 dB", 10), ("crying 5 dB", 5))


NAMES = ("right", "asked back", "asked back wrongly", "asked again", "not heard", "wrong")
THEN = ("then right", "then wrong")


def outcome(verdict: Verdict, value: int) -> str:
    """'right' | 'wrong' if believed; if not, 'asked back' | 'asked back wrongly' by name, or only
    'asked again'; else 'not heard'."""
    if verdict.number is None:
        return "wrong" if verdict.believed else "not heard"
    right = verdict.number[1] == value
    if verdict.believed:
        return "right" if right else "wrong"
    if not may_read_back(verdict.score, verdict.lead):
        return "asked again"
    return "asked back" if right else "asked back wrongly"


def measured(number: int, half: str, crying: list[np.ndarray], ear: EmbeddedEar, allowed: list[Phrase]) -> dict[str, Any]:
    rng = np.random.default_rng([number, half == "fit"])
    voices = FIT_VOICES if half == "fit" else REPORT_VOICES
    voice = voices[rng.integers(len(voices))]
    way = list(WAYS)[number % len(WAYS)]
    name, snr_db = CONDITIONS[rng.integers(len(CONDITIONS))]
    value = int(rng.integers(84, 100) if rng.random() < 0.5 else rng.integers(60, 101))
    if way == "heart rate 140":
        value = int(rng.integers(50, 200))
    noise = crying[rng.integers(len(crying))] if snr_db else None
    row: dict[str, Any] = {"way": way, "where": name, "voice": voice[0], "value": value, "outcome": "not heard", "then": ""}
    verdict = judged(in_surroundings(say(WAYS[way](value), voice), noise, snr_db, number), ear, allowed)
    if verdict is None:
        return row
    row |= {
        "outcome": outcome(verdict, value), "number": verdict.number, "text": verdict.text,
        "why": verdict.why, "score": verdict.score,
    }  # fmt: skip
    if row["outcome"].startswith("asked"):
        rng = np.random.default_rng([number, 7])
        other = (voice[0], voice[1] + int(rng.integers(-12, 13)), voice[2] + int(rng.integers(-8, 9)))
        again = judged(in_surroundings(say(WAYS[way](value), other), noise, snr_db, 50_000 + number), ear, allowed)
        same = again is not None and again.number == verdict.number and {row["outcome"], outcome(again, value)} <= {"asked back", "asked back wrongly"}
        if again is not None and (again.believed or same):
            row["then"] = "then right" if again.number is not None and again.number[1] == value else "then wrong"
    return row


def judged(spoken: Spoken, ear: EmbeddedEar, allowed: list[Phrase]) -> Verdict | None:
    """The first utterance found where it was said; None if none was."""
    for first, last, sound in utterances(spoken.sound, SpeechDetector()):
        if last >= spoken.starts_ms and first <= spoken.ends_ms:
            return Panel([ear]).judge(sound, allowed, asks_number=True)
    return None


def show(rows: list[dict[str, Any]]) -> None:
    table = Table("said", "clips", *NAMES, *THEN)
    for key in ("way", "where"):
        for group in dict.fromkeys(sorted(row[key] for row in rows)):
            some = [row for row in rows if row[key] == group]
            found = Counter(row["outcome"] for row in some) + Counter(row["then"] for row in some)
            table.add_row(group, str(len(some)), *(str(found[name]) for name in (*NAMES, *THEN)))
        table.add_section()
    found = Counter(row["outcome"] for row in rows) + Counter(row["then"] for row in rows)
    table.add_row("all", str(len(rows)), *(str(found[name]) for name in (*NAMES, *THEN)))
    console = Console(width=110)
    console.print(table)
    for row in rows:
        if "wrong" in (row["outcome"], row["then"][5:]):
            console.print("WRONG", row)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path, default=shared_file("audio"))
    parser.add_argument("--half", choices=("fit", "report"), default="report")
    parser.add_argument("--clips", type=int, default=600)
    parser.add_argument("--out", type=Path, default=Path("tests/bench/results"))
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    kept = args.out / f"numbers-{args.half}.jsonl"
    rows = [json.loads(line) for line in kept.open()] if kept.exists() else []
    flow = load_flow(flow_file("breathing-trouble"))
    allowed = [Phrase(w, n, a.risk) for n, a in flow.answers.items() for w in a.wordings]
    crying, ear = noises(args.audio, "baby-cry"), embedded_ear()
    with kept.open("a") as file:
        for number in range(len(rows), args.clips):
            rows.append(measured(number, args.half, crying, ear, allowed))
            file.write(json.dumps(rows[-1]) + "\n")
            file.flush()
    show(rows[: args.clips])


if __name__ == "__main__":
    main()
