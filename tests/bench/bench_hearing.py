"""Measures the hearing on the path that live sound takes: what is right, wrong and asked again.

python tests/bench/bench_hearing.py [--audio DIR] [--out DIR] [--quick]

Voices, speakers and noises that tuned nothing (REPORT in sounds.py); 70 wordings allowed at once.
Each finished clip is kept in DIR, so an interrupted run goes on where it was; delete DIR to begin
anew. Writes DIR/hearing.json. Without --audio it uses the small packaged set of recordings.
"""

import argparse
import json
import resource
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from sounds import (
    CONDITIONS,
    REPORT_VOICES,
    Spoken,
    allowed_for,
    in_surroundings,
    noises,
    people,
    say,
)  # fmt: skip
from wordings import OTHER_TALK, first_wordings, phrases

from prompter import limits
from prompter.events import Phrase
from prompter.hear.endpoint import BLOCK_MS
from prompter.hear.hearing import Heard, Hearing
from prompter.hear.scorer import InlineScorer
from prompter.hear.whisper_ear import WhisperEar
from prompter.resources import shared_file

WORDS = [Phrase(w, w) for w in ("yes", "no", "stop", "done", "help me", "say again", "go back")]
Row = dict[str, Any]
Job = tuple[str, str, str | None, Spoken, list[Phrase]]  # key, group, right answer, sound, allowed


def heard_in(spoken: Spoken, allowed: list[Phrase], ear: WhisperEar) -> list[Heard]:
    hearing = Hearing([ear], InlineScorer(), known=phrases())
    hearing.expect(allowed)
    quiet, found, at_ms = np.zeros(limits.BLOCK_SAMPLES, np.float32), [], 0
    sound = spoken.sound[: len(spoken.sound) // limits.BLOCK_SAMPLES * limits.BLOCK_SAMPLES]
    for block in sound.reshape(-1, limits.BLOCK_SAMPLES):
        at_ms += BLOCK_MS
        found += hearing.push(block, at_ms)
    while hearing.waiting:
        at_ms += BLOCK_MS
        found += hearing.push(quiet, at_ms)
    return [r for r in found if isinstance(r, Heard)]


def outcome(heard: list[Heard], right: str | None) -> str:
    """'right' | 'wrong' | 'asked again' | 'not heard'; without an answer 'taken' or 'refused'."""
    believed = [h.heard.answer if h.heard else "number" for h in heard if h.believed]
    if right is None:
        return "taken" if believed else "refused"
    if any(answer != right for answer in believed):
        return "wrong"
    if believed:
        return "right"
    return "asked again" if heard else "not heard"


def spoken_jobs(audio: Path, quick: bool) -> Iterator[Job]:
    """Every wording by every voice in every condition, then other talk."""
    every, firsts = phrases(), {p.text for p in first_wordings()}
    kinds = {kind: noises(audio, kind) for _, kind, _ in CONDITIONS if kind}
    voices = REPORT_VOICES[:2] if quick else REPORT_VOICES
    for name, kind, snr_db in CONDITIONS[:2] if quick else CONDITIONS:
        for voice in voices:
            for number, phrase in enumerate(every):
                first = phrase.text in firsts
                if quick and not first:
                    continue
                noise = kinds[kind][number % len(kinds[kind])] if kind else None
                spoken = in_surroundings(say(phrase.text, voice), noise, snr_db, number)
                group = f"{'first' if first else 'other'} wordings, {name}"
                allowed = allowed_for(phrase.answer, every, number)
                yield f"{name}|{voice[0]}|{phrase.text}", group, phrase.answer, spoken, allowed
            for number, text in enumerate(OTHER_TALK):
                noise = kinds[kind][number % len(kinds[kind])] if kind else None
                spoken = in_surroundings(say(text, voice), noise, snr_db, number)
                allowed = allowed_for(None, every, number)
                yield f"{name}|{voice[0]}|{text}", f"other talk, {name}", None, spoken, allowed


def recorded_jobs(audio: Path, quick: bool) -> Iterator[Job]:
    """People's words, and noise alone."""
    crying = noises(audio, "baby-cry")
    for word in ("yes", "no", "stop", "unknown", "silence"):
        clips = people(audio, word, "report")
        for number, (name, clip) in enumerate(clips[:20] if quick else clips):
            for where, noise in (("clean", None), ("crying 5 dB", crying[number % len(crying)])):
                right = word if word in ("yes", "no", "stop") else None
                spoken = in_surroundings(clip, noise, 5, number)
                group = f"people: {word}, {where}"
                yield f"{where}|{name}|{word}", group, right, spoken, WORDS
    for kind in ("baby-cry", "hiss", "motor", "rumble", "sneeze"):
        for number, clip in enumerate(noises(audio, kind)):
            yield f"alone|{kind}|{number}", f"{kind} alone", None, Spoken(clip, 0, 0), phrases()[:70]


def measured(job: Job, ear: WhisperEar) -> Row:
    key, group, right, spoken, allowed = job
    heard = heard_in(spoken, allowed, ear)
    best = max(heard, key=lambda h: (h.believed, h.score or -99), default=None)
    row: Row = {"key": key, "group": group, "outcome": outcome(heard, right), "n": len(heard)}
    if best is not None:
        row |= {
            "heard": best.heard.text if best.heard else str(best.number), "score": best.score,
            "text": best.text, "why": best.why, "decide_ms": best.decide_ms,
            "latency_ms": round(best.at_ms - spoken.ends_ms),
        }  # fmt: skip
    return row


def quartiles(values: list[float]) -> dict[str, float]:
    if not values:
        return {"p50": 0, "p95": 0, "n": 0}
    p50, p95 = np.percentile(values, [50, 95])
    return {"p50": round(float(p50)), "p95": round(float(p95)), "n": len(values)}


def detection_cost() -> float:
    """Share of one core that listening takes while nobody speaks."""
    hearing = Hearing([], InlineScorer(0))
    quiet = np.random.default_rng(0).standard_normal((1000, limits.BLOCK_SAMPLES)) * 2e-3
    began = time.process_time()
    for number, block in enumerate(quiet.astype(np.float32)):
        hearing.push(block, (number + 1) * BLOCK_MS)
    return (time.process_time() - began) / (1000 * BLOCK_MS / 1000)


def summary(rows: list[Row]) -> Row:
    groups: dict[str, Row] = {}
    for row in rows:
        group = groups.setdefault(row["group"], {"clips": 0})
        group["clips"] += 1
        group[row["outcome"]] = group.get(row["outcome"], 0) + 1
    spoken = [r for r in rows if "wordings" in r["group"] and "latency_ms" in r]
    return {
        "ears": ["whisper"],
        "groups": groups,
        "last_sound_to_decision_ms": {
            "believed": quartiles([r["latency_ms"] for r in spoken if r["outcome"] == "right"]),
            "asked again": quartiles(
                [r["latency_ms"] for r in spoken if r["outcome"] == "asked again"]
            ),
        },
        "decide_ms": quartiles([r["decide_ms"] for r in rows if r.get("decide_ms")]),
        "listening_share_of_a_core": round(detection_cost(), 4),
        "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        "wrong": [r for r in rows if r["outcome"] in ("wrong", "taken")],
        "hard": hard_wordings(rows),
    }


def hard_wordings(rows: list[Row]) -> dict[str, str]:
    """Wordings believed less often than three times in four, over all voices and conditions."""
    tally: dict[str, list[bool]] = {}
    for row in rows:
        if "wordings" in row["group"]:
            tally.setdefault(row["key"].split("|")[2], []).append(row["outcome"] == "right")
    return {
        text: f"{sum(got)}/{len(got)}"
        for text, got in sorted(tally.items(), key=lambda pair: sum(pair[1]) / len(pair[1]))
        if sum(got) / len(got) < 0.75
    }


def show(found: Row) -> None:
    table = Table("group", "clips", "right", "wrong", "asked again", "not heard", "taken")
    for name, group in found["groups"].items():
        cells = [group.get(k, 0) for k in ("right", "wrong", "asked again", "not heard", "taken")]
        table.add_row(name, str(group["clips"]), *(str(c) if c else "" for c in cells))
    console = Console(width=100)
    console.print(table)
    for name in ("last_sound_to_decision_ms", "decide_ms", "listening_share_of_a_core",
                 "memory_mb", "hard"):  # fmt: skip
        console.print(f"{name}: {found[name]}")
    for row in found["wrong"]:
        console.print(f"WRONG {row['group']}: {row['key']} -> {row['heard']} ({row['text']})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path, default=shared_file("audio"))
    parser.add_argument("--out", type=Path, default=Path("tests/bench/results"))
    parser.add_argument("--quick", action="store_true", help="taught wordings, two voices")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    kept = args.out / f"hearing-{'quick' if args.quick else 'full'}.jsonl"
    rows = [json.loads(line) for line in kept.open()] if kept.exists() else []
    done = {row["key"] for row in rows}
    ear = WhisperEar()
    ear.load()
    ear.prepare(WORDS)
    Hearing([ear], InlineScorer(), known=phrases()).prepare()
    with kept.open("a") as file:
        for jobs in (spoken_jobs, recorded_jobs):
            for job in jobs(args.audio, args.quick):
                if job[0] not in done:
                    rows.append(measured(job, ear))
                    file.write(json.dumps(rows[-1]) + "\n")
                    file.flush()
    found = summary(rows)
    (args.out / "hearing.json").write_text(json.dumps(found, indent=1) + "\n")
    show(found)


if __name__ == "__main__":
    main()
