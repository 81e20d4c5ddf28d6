"""What became of each wording when voices said it: the kept summary of a measurement."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

from prompter.errors import CannotDo
from prompter.flow.document import Flow
from prompter.hear.negation import changed
from prompter.wordings.allowed import allowed_at, places
from prompter.wordings.opposites import opposite_answers


@dataclass(frozen=True)
class Tally:
    """Of `said` utterances of one wording, each judged at every step where it may be said and
    counted by the worst that came of it.

    `right`: believed. `asked_again`: not believed. `not_heard`: no utterance was found in the sound.
    `taken`: believed as another answer, how often as which. `asked_back`: not believed, but that
    other answer would be named, and the same again is taken as yes. `margin`: the mean evidence by
    which the right answer leads the best other one (negative: trails); None if it never was scored.
    """

    said: int = 0
    right: int = 0
    asked_again: int = 0
    not_heard: int = 0
    taken: dict[str, int] = field(default_factory=dict)
    asked_back: dict[str, int] = field(default_factory=dict)
    margin: float | None = None


@dataclass(frozen=True)
class Measured:
    """The summary of one flow: `wordings[half][answer][wording]`, `denied[half][answer][form]`.

    A form is a wording with a denial fewer or more (`negation.changed`); nothing is right for it, so
    every answer it was believed as is in its `taken`.
    Halves are 'fit' (voices that chose words and limits) and 'report' (voices that chose nothing).
    `listened_for`: fingerprint of what every step listened for then.
    """

    flow: str
    listened_for: str
    voices: dict[str, list[str]]
    conditions: dict[str, list[str]]
    wordings: dict[str, dict[str, dict[str, Tally]]]
    denied: dict[str, dict[str, dict[str, Tally]]]

    def of(self, half: str, answer: str, wording: str) -> Tally | None:
        return self.wordings.get(half, {}).get(answer, {}).get(wording)

    def unmeasured(self, flow: Flow) -> list[str]:
        """Wordings of `flow` that were not measured, or for another answer."""
        known = self.wordings.get("fit", {})
        return [
            wording
            for answer, body in flow.answers.items()
            for wording in body.wordings
            if wording not in known.get(answer, {})
        ]

    def turned_round(self, flow: Flow, half: str, how: Literal["taken", "asked_back"]) -> dict[str, int]:
        """Forms that were believed (or asked back) as what must not be, and how often: as the answer
        that a lost or added denial turns round; after a 'no', as an opposite of the answer."""
        opposites, found = opposite_answers(flow), {}
        for answer, body in flow.answers.items():
            forms = {c.text: c.change for wording in body.wordings for c in changed(wording)}
            for text, tally in self.denied.get(half, {}).get(answer, {}).items():
                counted = getattr(tally, how)
                if forms.get(text) == "answered no":
                    count = sum(n for a, n in counted.items() if frozenset((a, answer)) in opposites)
                else:
                    count = counted.get(answer, 0)
                if count:
                    found[text] = count
        return found

    def out_of_date(self, flow: Flow) -> bool:
        """Whether some step listens for something else than when it was measured."""
        return self.listened_for != listened_for(flow)


def listened_for(flow: Flow) -> str:
    """Changes when any step's answers or wordings do."""
    here = {
        step: sorted((p.answer, p.text, p.risk) for p in allowed_at(flow, step))
        for step, interrupted in places(flow)
        if interrupted is None
    }
    return hashlib.sha256(json.dumps(here, sort_keys=True).encode()).hexdigest()[:16]


def read_measured(path: Path) -> Measured | None:
    """None if nothing was measured. Raises CannotDo for a file that is no such summary."""
    try:
        data = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as reason:
        raise CannotDo(f"the summary cannot be read: {reason}.", str(path), _AGAIN) from None
    try:
        return Measured(**(data | {name: _tallies(data[name]) for name in ("wordings", "denied")}))
    except (TypeError, KeyError, AttributeError):
        raise CannotDo("this is no summary of measured wordings.", str(path), _AGAIN) from None


_AGAIN = "Measure again with tests/bench/bench_words.py."


def _tallies(halves: dict[str, Any]) -> dict[str, dict[str, dict[str, Tally]]]:
    return {
        half: {a: {w: Tally(**t) for w, t in texts.items()} for a, texts in answers.items()}
        for half, answers in halves.items()
    }


def write_measured(found: Measured, path: Path) -> None:
    """One wording a line, so that a change can be read."""
    path.parent.mkdir(parents=True, exist_ok=True)
    data = asdict(found)
    head = {k: v for k, v in data.items() if k not in ("wordings", "denied")}
    lines = [f" {json.dumps(k)}: {json.dumps(v, ensure_ascii=False)}" for k, v in head.items()]
    lines += [f" {json.dumps(k)}: {_lines(data[k])}" for k in ("wordings", "denied")]
    path.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


def _lines(halves: dict[str, Any]) -> str:
    parts = []
    for half, answers in halves.items():
        inner = [
            f"   {json.dumps(answer)}: {{\n"
            + ",\n".join(f"    {json.dumps(t)}: {json.dumps(_short(v))}" for t, v in texts.items())
            + "\n   }"
            for answer, texts in answers.items()
        ]
        parts.append(f"  {json.dumps(half)}: {{\n" + ",\n".join(inner) + "\n  }")
    return "{\n" + ",\n".join(parts) + "\n }" if parts else "{}"


def _short(tally: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in tally.items() if v not in (0, {}, None)}


def worst_of(outcomes: Sequence[dict[str, Any]], right: str) -> tuple[str, str]:
    """(field of Tally, other answer): the worst that came of one utterance at all its steps.

    An outcome has `answer` (named or None) and `taken`: 'at once', 'said again' or ''.
    """
    wrong = [o for o in outcomes if o["answer"] is not None and o["answer"] != right]
    for taken, name in (("at once", "taken"), ("said again", "asked_back")):
        for outcome in wrong:
            if outcome["taken"] == taken:
                return name, outcome["answer"]
    if not outcomes:
        return "not_heard", ""
    good = all(o["answer"] == right and o["taken"] == "at once" for o in outcomes)
    return ("right", "") if good else ("asked_again", "")
