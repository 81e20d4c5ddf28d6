"""Measures which wordings are taken for each other: each said by several voices, judged at each step.

python tests/bench/bench_words.py measure [--half fit|report] [--denied] [--out DIR] [--flow NAME]
python tests/bench/bench_words.py measure --try ANSWER:WORDING ...      wordings that are not in the flow yet
python tests/bench/bench_words.py figures [--out DIR]      what the distance is fitted on
python tests/bench/bench_words.py write [--out DIR]        writes shared/words/NAME.json

An utterance is made once and judged at every step at which its wording is allowed, as the program
would there: the step's answers, those that work everywhere, and the decoys. `--denied` says each
wording with its 'not' lost or one added instead. Every finished utterance is kept in DIR, so an
interrupted run goes on where it was. The FIT voices choose, the REPORT voices report (sounds.py).
"""

import argparse
import json
import zlib
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from sounds import FIT_VOICES, REPORT_VOICES, in_surroundings, noises, say, utterances

from prompter.events import Phrase
from prompter.flow.document import Flow
from prompter.flow.reading import load_flow
from prompter.hear.decision import Verdict, decide, in_doubt, may_ask_back
from prompter.hear.detector import SpeechDetector
from prompter.hear.ear import Ranking
from prompter.hear.embedded_ear import EmbeddedEar
from prompter.hear.hearing import competing, rivals_of
from prompter.hear.negation import changed
from prompter.hear.shortlist import plain_words
from prompter.hear.whisper_model import Encoded, Likely, WhisperModel
from prompter.resources import flow_file, shared_file
from prompter.wordings.allowed import allowed_at, places
from prompter.wordings.distance import SUBSTITUTION, Distances
from prompter.wordings.measured import Measured, Tally, listened_for, worst_of, write_measured
from prompter.wordings.opposites import opposite_answers

Row = dict[str, Any]
WHERE = {
    "fit": (("clean", None, 0), ("crying 0 dB", "baby-cry", 0)),
    "report": (("clean", None, 0), ("crying 5 dB", "baby-cry", 5)),
}


class OnceModel:
    """The embedded model; what it found out of the present sound is kept for the next question."""

    def __init__(self, model: WhisperModel) -> None:
        self._model, self.name = model, model.name
        self.begin()

    def begin(self) -> None:
        """Another sound comes."""
        self._encoded: dict[int, Encoded] = {}
        self._texts: dict[Encoded, list[str]] = {}
        self._found: dict[Encoded, dict[str, Likely]] = {}

    def encode(self, sound: np.ndarray, window: int, whole: bool = False) -> Encoded:
        if whole:  # silence
            return self._model.encode(sound, window, whole)
        if window not in self._encoded:
            self._encoded[window] = self._model.encode(sound, window)
        return self._encoded[window]

    def decode(self, encoded: Encoded, beams: int) -> list[str]:
        if encoded not in self._texts:
            self._texts[encoded] = self._model.decode(encoded, beams)
        return self._texts[encoded]

    def likely(self, encoded: Encoded, wordings: Sequence[str]) -> list[Likely]:
        known = self._found.setdefault(encoded, {})
        missing = [w for w in dict.fromkeys(wordings) if w not in known]
        known.update(zip(missing, self._model.likely(encoded, missing), strict=True))
        return [known[w] for w in wordings]


class OnceEar(EmbeddedEar):
    """The embedded ear with such a model."""

    def load(self) -> None:
        if self._model is None:
            super().load()
            self._model = OnceModel(self._model)

    def begin(self) -> None:
        self.load()
        self._model.begin()


class Steps:
    """What is listened for where: steps with the same phrases are judged once."""

    def __init__(self, flow: Flow) -> None:
        self._flow = flow
        rivals = rivals_of([Phrase(w, a) for a, body in flow.answers.items() for w in body.wordings])
        alike: dict[tuple[frozenset[Phrase], bool], list[str]] = {}
        for step, interrupted in places(flow):
            if interrupted is None:
                asks = "number fine" in flow.steps[step].answers  # as FlowMachine.asks_number
                alike.setdefault((frozenset(allowed_at(flow, step)), asks), []).append(step)
        self.sorts = [
            (steps, competing(allowed_at(flow, steps[0]), rivals), asks)
            for (_, asks), steps in alike.items()
        ]

    def where(self, answer: str) -> Iterator[tuple[list[str], tuple[Phrase, ...], bool]]:
        """Steps that allow the answer; one that asks for a number (whose values take long to try)
        only if the answer is its own."""
        for steps, among, asks in self.sorts:
            own = any(answer in self._flow.steps[step].answers for step in steps)
            if own or (not asks and any(p.answer == answer for p in among)):
                yield steps, among, asks


def outcome(verdict: Verdict) -> Row:
    """`taken`: how an answer named would move the flow: 'at once', 'said again', or '' (never)."""
    heard = verdict.heard
    near = heard is not None and may_ask_back(heard, verdict.score, verdict.margin, verdict.text)
    return {
        "answer": heard.answer if heard else ("a number" if verdict.number else None),
        "heard": heard.text if heard else None,
        "taken": "at once" if verdict.believed else "said again" if near else "",
        "score": verdict.score and round(verdict.score, 2),
        "margin": verdict.margin and round(verdict.margin, 2),
        "rival": verdict.runner_up, "why": verdict.why,
    }  # fmt: skip


def judged(sound: np.ndarray, answer: str, ear: OnceEar, steps: Steps, detector: SpeechDetector) -> Row:
    """What becomes of one utterance at each step; `evidence`: of every wording it was scored with."""
    found: list[Row] = []
    evidence: dict[str, float] = {}
    text = ""
    for _, _, piece in utterances(sound, detector):
        ear.begin()
        for at, among, asks in steps.where(answer):
            ranking: Ranking = ear.score(piece, among, asks)
            verdict = decide([ranking])
            if in_doubt(verdict):
                ranking = ranking.closer()
                verdict = decide([ranking])
            text = ranking.text
            answers = {p.text for p in among if p.answer}
            evidence |= {w: round(s, 3) for w, s in ranking.evidence.items() if w in answers}
            this = outcome(verdict)
            for other in found:
                if all(other[k] == this[k] for k in this):
                    other["at"] += at
                    break
            else:
                found.append({"at": list(at), **this})
    return {"outcomes": found, "evidence": evidence, "text": text}


def jobs(flow: Flow, half: str, denied: bool) -> Iterator[tuple[Row, str, tuple[str, int, int]]]:
    """(what is said, condition, voice); the conditions and voices in turn, so that a run cut short
    has something of each."""
    said: list[Row] = []
    opposed = {answer for pair in opposite_answers(flow) for answer in pair}
    for answer, body in flow.answers.items():
        for wording in body.wordings:
            if denied and answer not in opposed:
                continue
            if denied:
                said += [
                    {"said": c.text, "of": wording, "answer": answer, "change": c.change}
                    for c in changed(wording)
                ]
            else:
                said.append({"said": wording, "answer": answer})
    for where, _, _ in WHERE[half][:1] if denied else WHERE[half]:
        for voice in FIT_VOICES if half == "fit" else REPORT_VOICES:
            for one in said:
                yield one, where, voice


@cache
def _ear(cache: Path) -> OnceEar:
    ear = OnceEar(cache=cache)
    ear.begin()
    return ear


def measure(flow: Flow, half: str, denied: bool, out: Path, only: str | None, alone: str | None = None) -> None:
    out.mkdir(parents=True, exist_ok=True)
    kept = out / f"words-{half}{'-denied' if denied else ''}.jsonl"
    done = {r["key"] for r in read(kept)}
    ear, steps, detector = _ear(out.parent if alone else out), Steps(flow), SpeechDetector()
    ear.prepare([Phrase(text, "") for text in dict.fromkeys(p.text for _, among, _ in steps.sorts for p in among)])
    now = listened_for(flow)
    kinds = {name: (noises(shared_file("audio"), kind) if kind else None, snr)
             for name, kind, snr in WHERE[half]}  # fmt: skip
    with kept.open("a") as file:
        for one, where, voice in jobs(flow, half, denied):
            key = f"{where}|{voice[0]}|{one['answer']}|{one['said']}"
            if key in done or (only and where != only) or (alone and one["said"] != alone):
                continue
            done.add(key)
            clips, snr_db = kinds[where]
            seed = zlib.crc32(key.encode())
            noise = clips[seed % len(clips)] if clips else None
            spoken = in_surroundings(say(one["said"], voice), noise, snr_db, seed)
            row: Row = {"listened_for": now}
            row |= judged(spoken.sound, one["answer"], ear, steps, detector)
            file.write(json.dumps({"key": key, "where": where, "voice": voice[0], **one, **row}) + "\n")
            file.flush()


def measure_tried(flow: Flow, tried: list[tuple[str, str]], args: argparse.Namespace) -> None:
    """Each new wording added alone to the flow, said and judged, and its tally printed."""
    for answer, wording in tried:
        body = flow.answers[answer]
        more = body.model_copy(update={"wordings": [*body.wordings, wording]})
        with_it = flow.model_copy(update={"answers": flow.answers | {answer: more}})
        out = args.out / "tried" / plain_words(wording).replace(" ", "-")
        measure(with_it, args.half, False, out, args.where, wording)
        found = tallies(read(out / f"words-{args.half}.jsonl"), with_it)
        print(f"{answer}: '{wording}' {found[answer][wording]}", flush=True)


def read(kept: Path) -> list[Row]:
    return [json.loads(line) for line in kept.open()] if kept.exists() else []


# ---- the summary that is packaged ----------------------------------------------------------------


def margin_of(row: Row, answer_of: dict[str, str]) -> float | None:
    """Evidence of the right answer's best wording less that of the best of another answer."""
    best = {True: None, False: None}
    for wording, score in row["evidence"].items():
        right = answer_of.get(wording) == row["answer"]
        if best[right] is None or score > best[right]:
            best[right] = score
    return None if best[True] is None or best[False] is None else best[True] - best[False]


def tallies(rows: list[Row], flow: Flow) -> dict[str, dict[str, Tally]]:
    """By answer and what was said. Of a form with a 'not' fewer or more nothing is right."""
    answer_of = {w: a for a, body in flow.answers.items() for w in body.wordings}
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        groups.setdefault((row["answer"], row["said"]), []).append(row)
    found: dict[str, dict[str, Tally]] = {}
    for (answer, said), group in groups.items():
        counts: dict[str, int] = {}
        named: dict[str, dict[str, int]] = {"taken": {}, "asked_back": {}}
        for row in group:
            what, other = worst_of(row["outcomes"], "" if "change" in row else answer)
            if other:
                named[what][other] = named[what].get(other, 0) + 1
            else:
                counts[what] = counts.get(what, 0) + 1
        margins = [
            m for row in group
            if "change" not in row and (m := margin_of(row, answer_of)) is not None
        ]  # fmt: skip
        mean = round(sum(margins) / len(margins), 2) if margins else None
        found.setdefault(answer, {})[said] = Tally(len(group), **counts, **named, margin=mean)
    return found


def write(flow: Flow, out: Path, to: Path) -> None:
    """Of what is still in the flow. Rows judged while steps listened for something else are marked:
    the summary then is out of date from the beginning."""
    said = {answer: set(body.wordings) for answer, body in flow.answers.items()}
    halves, denied = (
        {half: [r for r in read(out / f"words-{half}{kind}.jsonl") if r.get("of", r["said"]) in said[r["answer"]]]
         for half in WHERE}
        for kind in ("", "-denied")
    )  # fmt: skip
    every = [row for rows in (*halves.values(), *denied.values()) for row in rows]
    alike = {row.get("listened_for") for row in every}
    measured = Measured(
        flow.flow, alike.pop() or "" if len(alike) == 1 else "",
        {half: list(dict.fromkeys(r["voice"] for r in rows)) for half, rows in halves.items()},
        {half: list(dict.fromkeys(r["where"] for r in rows)) for half, rows in halves.items()},
        {half: tallies(rows, flow) for half, rows in halves.items()},
        {half: tallies(rows, flow) for half, rows in denied.items()},
    )  # fmt: skip
    write_measured(measured, to)
    print(f"written: {to}")


# ---- what the distance is fitted on --------------------------------------------------------------


def rivals(rows: list[Row], flow: Flow) -> list[tuple[str, str, bool, bool]]:
    """(said, wording of another answer, leads, is taken) for every two that were allowed together.

    It leads if its evidence is above that of every wording of the right answer, and is taken if it
    would be believed, or asked back by name (the same again is then taken as yes).
    """
    answer_of = {w: a for a, body in flow.answers.items() for w in body.wordings}
    together: dict[str, set[str]] = {}
    for step, interrupted in places(flow):
        if interrupted is None:
            texts = {p.text for p in allowed_at(flow, step)}
            for text in texts:
                together.setdefault(text, set()).update(texts)
    found = []
    for row in rows:
        own = [s for w, s in row["evidence"].items() if answer_of.get(w) == row["answer"]]
        best = max(own, default=-99.0)
        taken = {o["heard"] for o in row["outcomes"] if o["taken"] and o["answer"] != row["answer"]}
        for other in together.get(row["said"], ()):  # nothing for a wording since taken out
            if answer_of[other] != row["answer"]:
                leads = row["evidence"].get(other, -99.0) > best
                found.append((row["said"], other, leads, other in taken))
    return found


def figures(flow: Flow, out: Path) -> None:
    """How often the wording of another answer leads, or is taken, by distance; how well distances
    with other costs of substitution tell such pairs (area under the curve: 0.5 chance, 1 perfect)."""
    sounds = Distances(w for body in flow.answers.values() for w in body.wordings)
    opposed = opposite_answers(flow)
    answer_of = {w: a for a, body in flow.answers.items() for w in body.wordings}
    for half in WHERE:
        pairs = rivals(read(out / f"words-{half}.jsonl"), flow)
        if not pairs:
            continue
        leads, taken = (np.array([p[i] for p in pairs]) for i in (2, 3))
        print(f"{half}: {len(pairs)} times a rival was allowed, {taken.sum()} taken")
        for cost in (1, 2, 3, 4, 5, 6, 8, 100) if half == "fit" else ():
            far = distances(pairs, sounds, cost)
            print(f"  substitution {cost}: area {area(far, leads):.3f} leads, {area(far, taken):.3f} taken")
        far = distances(pairs, sounds, SUBSTITUTION)
        edges = [0, *np.arange(0.25, 0.81, 0.05), 1.01]
        for low, high in pairwise(edges):
            here = (far >= low) & (far < high)
            if here.any():
                print(f"  {low:.2f} to {high:.2f}: {here.sum():6d}, leads {1000 * leads[here].mean():5.1f}"
                      f" in 1000, taken {taken[here].sum():3d}, {1000 * taken[here].mean():5.2f} in 1000")  # fmt: skip
        for at in np.flatnonzero(taken):
            said, other = pairs[at][:2]
            if frozenset((answer_of[said], answer_of[other])) in opposed:
                print(f"    opposite: '{said}' for '{other}', distance {far[at]:.3f}")


def distances(pairs: list[tuple[str, str, bool, bool]], sounds: Distances, cost: float) -> np.ndarray:
    between = cache(lambda one, other: sounds.between(one, other, cost))
    return np.array([between(said, other) for said, other, _, _ in pairs])


def area(far: np.ndarray, event: np.ndarray) -> float:
    """Chance that a pair with the event is nearer than one without."""
    if not event.any():
        return float("nan")
    order = np.sort(far[~event])
    below = np.searchsorted(order, far[event], "right") + np.searchsorted(order, far[event], "left")
    return float(1 - (below / 2 / len(order)).mean())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("measure", "figures", "write"))
    parser.add_argument("--half", choices=("fit", "report"), default="fit")
    parser.add_argument("--denied", action="store_true", help="each wording with a 'not' fewer or more")
    parser.add_argument("--where", help="this condition alone, such as clean")
    parser.add_argument("--flow", default="breathing-trouble")
    parser.add_argument("--out", type=Path, default=Path("tests/bench/results"))
    parser.add_argument("--try", dest="tried", nargs="+", default=[], metavar="ANSWER:WORDING")
    args = parser.parse_args()
    flow = load_flow(flow_file(args.flow))
    if args.tried:
        measure_tried(flow, [tuple(text.split(":")) for text in args.tried], args)
    elif args.what == "measure":
        measure(flow, args.half, args.denied, args.out, args.where)
    elif args.what == "figures":
        figures(flow, args.out)
    else:
        write(flow, args.out, shared_file("words") / f"{flow.flow}.json")


if __name__ == "__main__":
    main()
