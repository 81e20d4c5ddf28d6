"""Measures whether a third kind of ear lowers wrong answers at equal belief.

python tests/bench/bench_third_ear.py [--audio DIR] [--out DIR] [--seconds N]

Two candidates beside the embedded ear, on speakers and voices that tuned nothing (REPORT in
sounds.py): pocketsphinx (extra `bench`) with a grammar of the same allowed wordings, and templates,
two recordings of each wording by the same voice in calm, compared by dynamic time warping over the
frames of the embedded ear's own encoder. A synthetic voice's templates are other renderings by it
(rate and pitch changed); a person's are other recordings of the word by that speaker, so only
speakers with two or more count. Every utterance goes to all; rows are kept in DIR/third-ear.jsonl,
and an interrupted run (or one ended by --seconds) goes on where it was. The order is shuffled, so a
part is a fair sample. Prints what each way of deciding believes, right and wrong, and the curve.

A first part, 353 of 1,770 utterances (253 answers, 100 unknown words or other talk; clean and with
crying at 5 dB), right of 253 / wrong of 353: embedded alone 210/1; pocketsphinx must agree 202/0;
templates must agree 210/0; pocketsphinx in doubt 215/1; templates in doubt 220/2. Their own word is
worth nothing: pocketsphinx takes 55 of the 100 for an answer, templates (no threshold) 99. One wrong
against none is too little to tell (upper bounds 1.34% and 0.85%), so neither is adopted. Templates
name 250 of 253 right and lose no belief: worth the whole run, and a threshold fitted on the other
half (distance, median: right 0.07, none 0.20 to 0.23). Synthetic voices flatter templates.
"""

import argparse
import json
import time
from collections.abc import Callable, Iterator
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from sounds import (
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
from prompter.hear import thresholds
from prompter.hear.decoys import DECOYS
from prompter.hear.detector import SpeechDetector
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.panel import Panel
from prompter.hear.shortlist import plain_words
from prompter.hear.whisper_model import window_for
from prompter.resources import shared_file

WORDS = [Phrase(w, w) for w in ("yes", "no", "stop")]
OTHER_WORDS = [Phrase(w, w) for w in ("done", "help me", "say again", "go back")]
TEMPLATE_FRAMES = 100
"""Of 20 ms: two seconds, longer than any wording."""
Row = dict[str, Any]
Material = tuple[np.ndarray, list[Phrase], dict[str, list[np.ndarray]]]
"""The sound, what is allowed, and recordings in calm by wording."""
Job = tuple[str, str, str | None, Callable[[], Material]]
"""Key, group, right answer, and what makes the rest."""


# ---- the candidates ------------------------------------------------------------------------------


class Templates:
    """Names the wording whose recording the sound is nearest to."""

    def __init__(self, ear: EmbeddedEar, detector: SpeechDetector) -> None:
        self._ear, self._detector = ear, detector
        self._of: dict[int, np.ndarray] = {}

    def frames(self, sound: np.ndarray) -> np.ndarray:
        """Unit vectors, float32[frames of 20 ms, width], of the speech in `sound`."""
        found = self._ear._model.encode(sound, window_for(len(sound)), whole=True)
        encoded = np.asarray(found.view)[0].astype(np.float32)
        kept = encoded[: min(len(sound) // 320, TEMPLATE_FRAMES)]
        kept = kept - encoded[-10:].mean(axis=0)  # what silence gives tells nothing
        return kept / (np.linalg.norm(kept, axis=1, keepdims=True) + 1e-6)

    def template(self, clean: np.ndarray) -> np.ndarray | None:
        """Of a recording in calm, cut as the hearing would cut it."""
        key = hash(clean.tobytes())
        if key not in self._of:
            spoken = in_surroundings(clean, None, 0, 1)
            found = [sound for _, _, sound in utterances(spoken.sound, self._detector)]
            self._of[key] = self.frames(max(found, key=len)) if found else None
        return self._of[key]

    def rank(self, sound: np.ndarray, own: dict[str, list[np.ndarray]]) -> list[tuple[str, float]]:
        """(wording, distance), nearest first."""
        query = self.frames(sound)
        names, made = [], []
        for wording, clips in own.items():
            for clip in clips:
                if (template := self.template(clip)) is not None:
                    names.append(wording)
                    made.append(template)
        best: dict[str, float] = {}
        for name, far in zip(names, warped(query, made), strict=True):
            best[name] = min(best.get(name, 9.0), far)
        return sorted(best.items(), key=lambda pair: pair[1])


def warped(query: np.ndarray, templates: list[np.ndarray]) -> list[float]:
    """Mean cosine distance along the best path (Sakoe and Chiba 1978, symmetric steps)."""
    if not templates:
        return []
    longest = max(len(t) for t in templates)
    cost = np.full((len(query), longest, len(templates)), 2.0, np.float32)
    for number, template in enumerate(templates):
        cost[:, : len(template), number] = 1 - query @ template.T
    before = np.full((longest + 1, len(templates)), np.inf, np.float32)
    before[0] = 0
    for step in cost:
        row = np.full_like(before, np.inf)
        row[1:] = np.minimum(before[1:] + step, before[:-1] + 2 * step)
        for j in range(1, longest + 1):
            np.minimum(row[j], row[j - 1] + step[j - 1], out=row[j])
        before = row
    lengths = [len(t) for t in templates]
    return [float(before[n, i]) / (len(query) + n) for i, n in enumerate(lengths)]


class Sphinx:
    """pocketsphinx with a JSGF grammar of the allowed wordings."""

    def __init__(self) -> None:
        import pocketsphinx

        self._decoder = pocketsphinx.Decoder(samprate=16_000, loglevel="FATAL", lm=None)

    def name(self, sound: np.ndarray, allowed: list[Phrase]) -> str:
        """The words found; empty if none."""
        known = [plain_words(p.text) for p in allowed]
        known = [w for w in known if all(self._decoder.lookup_word(part) for part in w.split())]
        grammar = f"#JSGF V1.0; grammar a; public <a> = {' | '.join(dict.fromkeys(known))};"
        self._decoder.add_jsgf_string("a", grammar)
        self._decoder.activate_search("a")
        pcm = (np.clip(sound * 4, -1, 1) * 32767).astype("<i2").tobytes()
        self._decoder.start_utt()
        self._decoder.process_raw(pcm, full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return found.hypstr if found else ""


# ---- the utterances ------------------------------------------------------------------------------


@cache
def in_calm(text: str, voice: tuple[str, int, int]) -> tuple[np.ndarray, ...]:
    name, rate, pitch = voice
    return tuple(say(text, (name, rate + r, pitch + p)) for r, p in ((-20, -8), (15, 8)))


def jobs(audio: Path) -> Iterator[Job]:
    crying = noises(audio, "baby-cry")
    every = phrases()
    for place, snr_db in (("clean", 0), ("crying 5 dB", 5)):
        for voice in REPORT_VOICES:
            spoken = [(p.text, p.answer) for p in every] + [(t, None) for t in OTHER_TALK]
            for number, (text, right) in enumerate(spoken):
                noise = crying[number % len(crying)] if snr_db else None
                made = partial(_by_voice, text, right, voice, noise, snr_db, number)
                group = "voices: answers" if right else "voices: other talk"
                yield f"{place}|{voice[0]}|{text}", f"{group}, {place}", right, made
        yield from _people(audio, crying, place, snr_db)


def _by_voice(
    text: str, right: str | None, voice: tuple[str, int, int], noise: np.ndarray | None,
    snr_db: float, seed: int,
) -> Material:  # fmt: skip
    allowed = allowed_for(right, phrases(), seed)
    sound = in_surroundings(say(text, voice), noise, snr_db, seed).sound
    return sound, allowed, {p.text: list(in_calm(p.text, voice)) for p in allowed}


def _by_person(
    clip: np.ndarray, own: dict[str, list[np.ndarray]], noise: np.ndarray | None, snr_db: float,
    seed: int,
) -> Material:  # fmt: skip
    return in_surroundings(clip, noise, snr_db, seed).sound, WORDS + OTHER_WORDS, own


def _people(audio: Path, crying: list[np.ndarray], place: str, snr_db: float) -> Iterator[Job]:
    clips = {w.text: people(audio, w.text, "report") for w in WORDS}
    of: dict[str, dict[str, list[tuple[str, np.ndarray]]]] = {}
    for word, found in clips.items():
        for name, clip in found:
            of.setdefault(name.split("_")[0], {}).setdefault(word, []).append((name, clip))
    whole = {s: words for s, words in of.items() if all(len(words.get(w.text, ())) > 1 for w in WORDS)}
    number = 0
    for words in whole.values():
        for word, found in words.items():
            for name, clip in found:
                number += 1
                own = {w: [c for n, c in f if n != name][:2] for w, f in words.items()}
                noise = crying[number % len(crying)] if snr_db else None
                made = partial(_by_person, clip, own, noise, snr_db, number)
                yield f"{place}|{name}|{word}", f"people: words, {place}", word, made
    speakers = list(whole.values())
    for number, (name, clip) in enumerate(people(audio, "unknown", "report")):
        words = speakers[number % len(speakers)]
        own = {w: [c for _, c in f][:2] for w, f in words.items()}
        noise = crying[number % len(crying)] if snr_db else None
        made = partial(_by_person, clip, own, noise, snr_db, number)
        yield f"{place}|{name}|unknown", f"people: unknown, {place}", None, made


def measured(job: Job, ear: EmbeddedEar, sphinx: Sphinx, near: Templates, detector: SpeechDetector) -> Row:
    """What each makes of the longest utterance in the sound."""
    key, group, right, make = job
    sound, allowed, own = make()
    row: Row = {"key": key, "group": group, "right": right, "risk": "branch"}
    found = [u for _, _, u in utterances(sound, detector)]
    if not found:
        return row
    heard = max(found, key=len)
    texts = {plain_words(p.text) for p in allowed}
    rivals = dict.fromkeys([*(p.text for p in phrases()), *DECOYS, *(f"not {p.text}" for p in allowed)])
    among = [*allowed, *(Phrase(t, "") for t in rivals if plain_words(t) not in texts)]
    verdict = Panel([ear]).judge(heard, among)
    answer_of = {p.text: p.answer for p in allowed}
    by_plain = {plain_words(p.text): p.answer for p in allowed}
    row["embedded"] = verdict.heard.answer if verdict.heard else ("number" if verdict.number else None)
    row |= {"believed": verdict.believed, "score": verdict.score, "why": verdict.why}
    if verdict.heard:
        row["risk"] = verdict.heard.risk
    row["sphinx"] = by_plain.get(sphinx.name(heard, allowed))
    ranked = near.rank(heard, own)
    if ranked:
        first = answer_of[ranked[0][0]]
        rival = next((far for wording, far in ranked if answer_of[wording] != first), 2.0)
        row |= {"template": first, "distance": ranked[0][1], "lead": rival - ranked[0][1]}
    return row


# ---- what each way of deciding would believe -----------------------------------------------------

Way = Callable[[Row, float], bool]
"""Whether a row's embedded answer is believed, at a shift of all thresholds."""


def alone(row: Row, shift: float) -> bool:
    """As the program decides, its least score moved by `shift`."""
    if row.get("score") is None or row["why"] not in ("", "not sure enough"):
        return False
    return row["score"] >= thresholds.LEAST[row.get("risk", "branch")] + shift


def agreeing(ear: str) -> Way:
    """Believed only if the third names the same, or the score passes the strict threshold."""

    def way(row: Row, shift: float) -> bool:
        strict = thresholds.STRICT[row.get("risk", "branch")] - thresholds.LEAST[row.get("risk", "branch")]
        return alone(row, shift) and (row.get(ear) == row["embedded"] or alone(row, shift + strict))

    return way


def breaking_ties(ear: str) -> Way:
    """In doubt (up to 1.5 below the threshold) believed if the third names the same."""

    def way(row: Row, shift: float) -> bool:
        return alone(row, shift) or (alone(row, shift - 1.5) and row.get(ear) == row["embedded"])

    return way


WAYS: dict[str, Way] = {
    "embedded alone": alone,
    "+ pocketsphinx agrees": agreeing("sphinx"),
    "+ templates agree": agreeing("template"),
    "+ pocketsphinx in doubt": breaking_ties("sphinx"),
    "+ templates in doubt": breaking_ties("template"),
}


def tally(rows: list[Row], way: Way, shift: float = 0.0) -> tuple[int, int, int, int]:
    """(right, of answers, wrong or taken, of all)."""
    taken = [r for r in rows if way(r, shift)]
    right = sum(r["embedded"] == r["right"] for r in taken)
    return right, sum(r["right"] is not None for r in rows), len(taken) - right, len(rows)


def upper_bound(count: int, n: int) -> float:
    """One-sided 95% upper bound of a share (Clopper and Pearson 1934), by bisection."""
    from math import comb

    low, high = count / n if n else 0.0, 1.0
    for _ in range(50):
        p = (low + high) / 2
        tail = sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(count + 1))
        low, high = (p, high) if tail > 0.05 else (low, p)
    return high


def show(rows: list[Row]) -> Row:
    console, found = Console(width=120), {}
    groups = sorted({r["group"] for r in rows})
    for group in [*groups, "all"]:
        part = [r for r in rows if group in (r["group"], "all")]
        table = Table("decided by", "right", "wrong or taken", "at most (95%)", title=f"{group}, n {len(part)}")
        for name, way in WAYS.items():
            right, of, wrong, n = tally(part, way)
            found[f"{group}: {name}"] = {"right": right, "answers": of, "wrong": wrong, "n": n}
            table.add_row(name, f"{right} of {of}", str(wrong), f"{100 * upper_bound(wrong, n):.2f}%")
        for ear in ("sphinx", "template"):
            named = sum(r.get(ear) == r["right"] for r in part if r["right"])
            forced = sum(r.get(ear) is not None for r in part if not r["right"])
            others = sum(r["right"] is None for r in part)
            table.add_row(f"{ear}, its word taken", f"{named}", f"takes {forced} of {others} that are none", "")
        console.print(table)
    curve = Table("wrong or taken, at most", *WAYS, title="right answers believed, by the number of wrong ones allowed")
    for most in (0, 1, 2, 4, 8, 16, 32):
        cells = []
        for way in WAYS.values():
            points = [tally(rows, way, shift / 10) for shift in range(-40, 60)]
            cells.append(max((p[0] for p in points if p[2] <= most), default=0))
        found[f"curve {most}"] = dict(zip(WAYS, cells, strict=True))
        curve.add_row(str(most), *(str(c) for c in cells))
    console.print(curve)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--audio", type=Path, default=shared_file("audio"))
    parser.add_argument("--out", type=Path, default=Path("tests/bench/results"))
    parser.add_argument("--seconds", type=float, default=1e9, help="stop measuring after so long")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    kept = args.out / "third-ear.jsonl"
    rows = [json.loads(line) for line in kept.open()] if kept.exists() else []
    done = {row["key"] for row in rows}
    ear, detector = EmbeddedEar(cache=args.out), SpeechDetector()
    ear.load()
    ear.prepare([*phrases(), *WORDS, *OTHER_WORDS])
    sphinx, near = Sphinx(), Templates(ear, SpeechDetector())
    every = list(jobs(args.audio))
    order = np.random.default_rng(0).permutation(len(every))
    end = time.monotonic() + args.seconds
    with kept.open("a") as file:
        for number in order:
            if every[number][0] in done:
                continue
            if time.monotonic() > end:
                break
            rows.append(measured(every[number], ear, sphinx, near, detector))
            file.write(json.dumps(rows[-1]) + "\n")
            file.flush()
    Console().print(f"{len(rows)} of {len(every)} utterances measured")
    (args.out / "third-ear.json").write_text(json.dumps(show(rows), indent=1) + "\n")


if __name__ == "__main__":
    main()
