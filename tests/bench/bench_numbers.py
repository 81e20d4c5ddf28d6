"""Measures how numbers are heard where a saturation was asked for: believed, asked back, wrong.

python tests/bench/bench_numbers.py [--audio DIR] [--half fit|report] [--clips N] [--out DIR]

Synthetic voices of the half that tuned nothing (sounds.py), every way of saying a number, quiet and
with crying. Values near 90 are drawn more often: they decide. Finished clips are kept in DIR.
"""

import argparse
import json
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from sounds import FIT_VOICES, REPORT_VOICES, in_surroundings, noises, say, utterances

from prompter.events import Phrase
from prompter.flow.reading import load_flow
from prompter.hear.decision import Verdict
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


def outcome(verdict: Verdict, value: int) -> str:
    """'right' | 'wrong' if believed; 'asked back' | 'asked back wrongly' if not; else 'not heard'."""
    if verdict.number is None:
        return "wrong" if verdict.believed else "not heard"
    right = verdict.number[1] == value
    if verdict.believed:
        return "right" if right else "wrong"
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
    spoken = in_surroundings(say(WAYS[way](value), voice), noise, snr_db, number)
    row: dict[str, Any] = {"way": way, "where": name, "voice": voice[0], "value": value, "outcome": "not heard"}
    for first, last, sound in utterances(spoken.sound, SpeechDetector()):
        if last < spoken.starts_ms or first > spoken.ends_ms:
            continue
        verdict = Panel([ear]).judge(sound, allowed, asks_number=True)
        row |= {
            "outcome": outcome(verdict, value), "number": verdict.number, "text": verdict.text,
            "why": verdict.why, "score": verdict.score,
        }  # fmt: skip
        break
    return row


def show(rows: list[dict[str, Any]]) -> None:
    names = ("right", "asked back", "asked back wrongly", "not heard", "wrong")
    table = Table("said", "clips", *names)
    for key in ("way", "where"):
        for group in dict.fromkeys(sorted(row[key] for row in rows)):
            found = Counter(row["outcome"] for row in rows if row[key] == group)
            table.add_row(group, str(found.total()), *(str(found[name]) for name in names))
        table.add_section()
    console = Console(width=110)
    console.print(table)
    for row in rows:
        if row["outcome"] == "wrong":
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
