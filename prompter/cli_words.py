"""What `prompter flow words` shows: each step's wordings, and how easily each is misheard."""

import json
from dataclasses import asdict
from typing import Any

import typer
from rich.console import Console
from rich.text import Text

from prompter.flow.document import Flow
from prompter.limits import OPPOSITE_DISTANCE
from prompter.resources import shared_file
from prompter.wordings.measured import Measured, Tally, read_measured
from prompter.wordings.opposites import Pair, too_near
from prompter.wordings.overview import AnswerHere, Near, Overview, Word

HALF = "report"
"""The voices shown: those that chose nothing."""


def show_words(flow: Flow, as_json: bool, matrix: bool) -> None:
    """Print it. Raises CannotDo if the voice or the kept measurement cannot be read."""
    measured = read_measured(shared_file("words") / f"{flow.base}.json")
    overview = Overview(flow)
    if as_json:
        typer.echo(json.dumps(_record(overview, measured), indent=1, ensure_ascii=False))
    elif matrix:
        _print_matrix(flow, measured, Console(soft_wrap=True))
    else:
        _print(overview, measured, Console(soft_wrap=True))


def _steps(overview: Overview) -> list[str]:
    covered = set(overview.flow.covered_steps)
    return [step for step in overview.steps if step in covered]


# ---- as JSON -------------------------------------------------------------------------------------


def _record(overview: Overview, measured: Measured | None) -> dict[str, Any]:
    flow = overview.flow
    return {
        "flow": flow.flow,
        "version": flow.version,
        "least_opposite_distance": OPPOSITE_DISTANCE,
        "measured": measured and {
            "voices": measured.voices, "conditions": measured.conditions,
            "out_of_date": measured.out_of_date(flow), "unmeasured": measured.unmeasured(flow),
            "denied": {
                half: {"believed": measured.turned_round(flow, half, "taken"),
                       "asked_back": measured.turned_round(flow, half, "asked_back")}
                for half in measured.denied
            },
        },
        "too_near": [
            {"answer": p.one.answer, "wording": p.one.text, "said": p.said, "denial": p.change,
             "other_answer": p.other.answer, "other": p.other.text, "distance": _rounded(p.distance)}
            for p in too_near(flow)
        ],
        "steps": [
            {"step": step, "title": flow.steps[step].title,
             "answers": _answers(overview.at(step), measured)}
            for step in _steps(overview)
        ],
        "everywhere": _answers(overview.everywhere(), measured),
    }  # fmt: skip


def _answers(answers: list[AnswerHere], measured: Measured | None) -> list[dict[str, Any]]:
    return [
        {"answer": here.answer, "risk": here.risk, "opposites": list(here.opposites),
         "wordings": [_word(here.answer, word, measured) for word in here.words]}
        for here in answers
    ]  # fmt: skip


def _word(answer: str, word: Word, measured: Measured | None) -> dict[str, Any]:
    tallies = {half: measured.of(half, answer, word.wording) if measured else None
               for half in ("fit", "report")}  # fmt: skip
    return {
        "wording": word.wording, "taught": word.taught,
        "nearest": _near(word.nearest), "nearest_opposite": _near(word.nearest_opposite),
        "measured": {half: asdict(tally) if tally else None for half, tally in tallies.items()},
    }  # fmt: skip


def _near(near: Near | None) -> dict[str, Any] | None:
    return near and asdict(near) | {"distance": _rounded(near.distance)}


def _rounded(distance: float) -> float:
    return round(distance, 3)


# ---- on the terminal -----------------------------------------------------------------------------


def _print(overview: Overview, measured: Measured | None, console: Console) -> None:
    flow = overview.flow
    console.print(Text(f"{flow.title}, version {flow.version}: its words, and what they sound like", style="bold"))
    console.print("Distance by phonemes: 0 sounds the same, 1 nothing alike. "
                  f"Opposite answers of one step: at least {OPPOSITE_DISTANCE:g}.")  # fmt: skip
    _print_conditions(flow, measured, console)
    for step in _steps(overview):
        console.print()
        console.print(Text.assemble((step, "bold cyan"), "  ", (flow.steps[step].title, "bold")))
        _print_answers(overview.at(step), measured, console)
    console.print()
    console.print(Text("At every step", style="bold"))
    _print_answers(overview.everywhere(), measured, console)
    _print_denied(flow, measured, console)
    _print_too_near(too_near(flow), console)


def _print_conditions(flow: Flow, measured: Measured | None, console: Console) -> None:
    if measured is None:
        console.print("Not measured: no voice has said these words to the recogniser yet.")
        return
    console.print(
        f"Heard: {len(measured.voices[HALF])} synthetic voices that chose no wording, each "
        f"{' and '.join(measured.conditions[HALF])}; all that a step allows as rivals."
    )
    new = measured.unmeasured(flow)
    if new:
        console.print(Text(f"Changed since it was measured: {'; '.join(new)}.", style="yellow"))
    elif measured.out_of_date(flow):
        console.print(Text("Some step allows other words than when it was measured.", style="yellow"))


def _print_answers(answers: list[AnswerHere], measured: Measured | None, console: Console) -> None:
    for here in answers:
        opposed = f"  (opposite: {', '.join(here.opposites)})" if here.opposites else ""
        console.print(Text.assemble("    ", (here.answer, "bold"), f", {here.risk}{opposed}"))
        for word in here.words:
            tally = measured.of(HALF, here.answer, word.wording) if measured else None
            console.print(Text(f"        “{word.wording}”{_beside(word)}{_heard(tally)}"))


def _beside(word: Word) -> str:
    parts = []
    near, opposite = word.nearest, word.nearest_opposite
    if opposite:
        parts.append(f"opposite “{opposite.wording}” {opposite.distance:.2f}")
    if near and near != opposite:
        parts.append(f"nearest “{near.wording}” {near.distance:.2f}")
    return "  " + ", ".join(parts) if parts else ""


def _heard(tally: Tally | None) -> str:
    if tally is None:
        return "; not measured"
    parts = [f"right {tally.right} of {tally.said}"]
    parts += [f"taken for {answer} {count}" for answer, count in tally.taken.items()]
    parts += [f"asked back as {answer} {count}" for answer, count in tally.asked_back.items()]
    if tally.asked_again:
        parts.append(f"asked again {tally.asked_again}")
    if tally.not_heard:
        parts.append(f"not heard {tally.not_heard}")
    if tally.margin is not None:
        parts.append(f"leads by {tally.margin:.1f}")
    return "; " + ", ".join(parts)


def _print_denied(flow: Flow, measured: Measured | None, console: Console) -> None:
    said = _denied_said(measured)
    if measured is None or not said:
        return
    believed, asked = (measured.turned_round(flow, HALF, how) for how in ("taken", "asked_back"))
    console.print()
    console.print(Text(
        f"With a 'not' fewer or more, said {said} times: {sum(believed.values())} believed as what "
        f"must not be, {sum(asked.values())} asked back as that."
    ))  # fmt: skip
    for how, found in (("believed", believed), ("asked back", asked)):
        for text, count in found.items():
            console.print(Text(f"    “{text}” {how} {count}"))


def _denied_said(measured: Measured | None) -> int:
    forms = measured.denied.get(HALF, {}) if measured else {}
    return sum(tally.said for texts in forms.values() for tally in texts.values())


def _print_too_near(pairs: list[Pair], console: Console) -> None:
    console.print()
    if not pairs:
        console.print("No wording comes too near to one of an opposite answer, nor does a lost or added 'not' bring it there.")
        return
    console.print(Text("Too near to an opposite answer", style="bold red"))
    for p in pairs:
        how = f" (its 'not' {p.change}: “{p.said}”)" if p.change else ""
        console.print(Text(f"    {p.one.answer} “{p.one.text}”{how} and {p.other.answer} “{p.other.text}”: {p.distance:.2f}"))


def _print_matrix(flow: Flow, measured: Measured | None, console: Console) -> None:
    """Who is taken for whom: a row an answer, all its wordings and both kinds of voices together."""
    if measured is None:
        console.print("Not measured: no voice has said these words to the recogniser yet.")
        return
    _print_conditions(flow, measured, console)
    console.print(Text("answer: said, right, asked again; taken for, asked back as", style="bold"))
    for answer in flow.answers:
        tallies = [t for half in measured.wordings.values() for t in half.get(answer, {}).values()]
        total = _added(tallies)
        if total.said:
            console.print(Text(f"    {answer}{_heard(total)}"))


def _added(tallies: list[Tally]) -> Tally:
    def together(name: str) -> dict[str, int]:
        found: dict[str, int] = {}
        for tally in tallies:
            for answer, count in getattr(tally, name).items():
                found[answer] = found.get(answer, 0) + count
        return found

    return Tally(
        sum(t.said for t in tallies), sum(t.right for t in tallies),
        sum(t.asked_again for t in tallies), sum(t.not_heard for t in tallies),
        together("taken"), together("asked_back"),
    )  # fmt: skip
