"""The command `prompter ears tune`: in calm, which wording is heard best in the caregiver's voice."""

import json
import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from prompter.errors import CannotDo
from prompter.resources import named_flow

CALM = (
    "This is practice, in calm. Nothing is played and nobody is called.",
    "You will say words of an emergency aloud: tell everybody in the house.",
    "Switch off anything else that listens for spoken commands.",
    "Sit where you would stand, and speak as you would then.",
    "Stop at any time with Ctrl-C: what was recorded is kept, and the same command goes on.",
)


def tune_command(
    flow: Annotated[
        str, typer.Option("--flow", help="A flow's name, or its file.")
    ] = "breathing-trouble",
    plan: Annotated[
        Path | None, typer.Option("--plan", help="The care plan; without it, the one there is, or none.")
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option("--from", help="Judge the sound files of this folder, named by wording, and record nothing."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the page to print here (HTML).")
    ] = None,
    voice: Annotated[
        str, typer.Option("--voice", help="Who speaks: each voice has recordings of its own.")
    ] = "caregiver",
    every_wording: Annotated[
        bool, typer.Option("--all-wordings", help="Record every wording, not the taught ones first.")
    ] = False,
    microphone: Annotated[
        str | None, typer.Option("--microphone", help="Part of its name, or its number.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Find what to say: record the answers in calm, and make a page to hang beside the bed.

    One wording at a time is shown; say it twice. Another wording is offered where the taught one is
    not always understood. Nothing in the flow changes. Exit code 0: for every answer there is a
    wording that was understood every time. 1: not for every one, or not all are recorded. 2: it
    cannot be carried out.
    """
    try:
        good = _tune(flow, plan, source, out, voice, every_wording, microphone, as_json)
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(2) from None
    raise typer.Exit(0 if good else 1)


def _tune(
    flow: str, plan: Path | None, source: Path | None, out: Path | None, voice: str,
    every_wording: bool, microphone: str | None, as_json: bool,
) -> bool:  # fmt: skip
    from prompter.care import place
    from prompter.hear.ears import loaded_ears
    from prompter.hear.takes import stem_of
    from prompter.hear.tuning import Judge
    from prompter.live.ears import known_phrases
    from prompter.ready.own_words import OwnWords
    from prompter.ready.say_this import Made, page
    from prompter.ready.sayings import occasions, steps_to_try

    table, patient = _table(flow, plan)
    who = " ".join(voice.split())
    if not stem_of(who):
        raise CannotDo("this is no name.", "--voice", "Give one, such as Ana.")
    folder = source or place.own_voice_folder() / stem_of(who)
    if source is not None and not source.is_dir():
        raise CannotDo("there is no such folder.", str(source), "Check the path.")
    listening = _Listening(microphone) if source is None else None
    try:
        ears = loaded_ears(place.cache_folder(), lambda line: typer.echo(line, err=True))
        words = OwnWords(folder, occasions(table), Judge(ears, known_phrases(table)), steps_to_try(table))
        if source is not None and not words.recordings:
            raise CannotDo("no sound file here is named by a wording of the flow.", str(source), "Name them so: 'chest flat 1.wav'.")
        words.judge_kept(_progress("listening to what is recorded"))
        trouble = _record(words, listening, every_wording, as_json) if listening else ""
    finally:
        if listening:
            listening.close()
    target = out or (folder / "say-this.html" if source is None else None)
    names = ", ".join(ear.name for ear in ears)
    parts = [(o.title, words.found(o)) for o in words.occasions]
    if target is not None:
        made = Made(who, patient, date.today(), f"{table.flow.title}, version {table.flow.version}", names)
        place.write_private(target, page(parts, made))
    report = _report(parts, [ear.name for ear in ears], folder, target, words.ignored)
    if as_json:
        sys.stdout.write(json.dumps(report, ensure_ascii=False) + "\n")
    else:
        _show(parts, folder, target, words.ignored)
    if trouble:
        raise CannotDo(trouble)
    answers = [a for _, found in parts for a in found if source is None or a.wordings]
    return all(a.advice.say is not None and a.advice.say.grade == "good" for a in answers)


def _table(flow: str, plan: Path | None) -> tuple[Any, str]:
    """The flow as this plan has it, and the patient's name."""
    from prompter.care import place
    from prompter.care.plan import for_no_plan, load_plan
    from prompter.flow.reading import load_flow
    from prompter.flow.table import Variant, build

    if plan is None and place.plan_file().exists():
        plan = place.plan_file()
    if plan is None:
        return build(load_flow(named_flow(flow)), Variant(*for_no_plan())), ""
    read = load_plan(plan)
    variant = Variant(read.facts(), read.spoken(), read.numbers())
    return build(load_flow(named_flow(flow)), variant), read.patient.name


# ---- recording -----------------------------------------------------------------------------------


class _Listening:
    """The microphone, opened before anything slow: a missing one is told at once."""

    def __init__(self, name: str | None) -> None:
        from prompter.cli_respond import device
        from prompter.hear.endpoint import Endpointer
        from prompter.hear.microphone import Microphone

        self._microphone = Microphone(device(name))
        try:
            self._microphone.open()
        except CannotDo as error:
            mend = error.mend.partition("; keys")[0].rstrip(".")
            raise CannotDo(
                error.what, error.where, f"{mend}; or judge a folder of recordings: --from."
            ) from None
        self._ends = Endpointer()

    def take(self) -> Any:
        from prompter.hear.one_take import one_take

        return one_take(self._microphone, self._ends)

    def close(self) -> None:
        self._microphone.close()


def _record(words: Any, listening: _Listening, every_wording: bool, quiet_out: bool) -> str:
    """Records what is missing; why it ended early, if something failed."""
    from prompter.ready.tune_screen import TuneScreen

    screen = TuneScreen(to_standard_error=quiet_out)
    for line in CALM:
        screen.tell(line)
    try:
        if not words.record(listening.take, screen, every_wording):
            screen.tell("What was recorded is kept. Go on with the same command.")
    except (KeyboardInterrupt, typer.Abort, EOFError):
        screen.tell("\nStopped. What was recorded is kept. Go on with the same command.")
    except CannotDo as error:
        return error.one_line()
    return ""


def _progress(what: str) -> Callable[[int, int], None]:
    if sys.stderr is None or not sys.stderr.isatty():
        return lambda done, of: None

    def show(done: int, of: int) -> None:
        end = "\n" if done == of else ""
        print(f"\r{what}: {done} of {of}", end=end, file=sys.stderr, flush=True)

    return show


# ---- the report ----------------------------------------------------------------------------------


def _report(
    parts: Sequence[tuple[str, Any]], ears: list[str], folder: Path, page: Path | None, ignored: list[Path]
) -> dict[str, Any]:
    return {
        "ears": ears,
        "folder": str(folder),
        "page": str(page) if page else None,
        "answers": [_answer_report(title, answer) for title, found in parts for answer in found],
        "ignored": [path.name for path in ignored],
    }


def _answer_report(occasion: str, answer: Any) -> dict[str, Any]:
    advice = answer.advice
    return {
        "answer": answer.saying.answer,
        "occasion": occasion,
        "taught": answer.saying.wordings[0],
        "say": advice.say.wording if advice.say else None,
        "avoid": list(advice.avoid),
        "wordings": [_wording_report(found) for found in answer.wordings],
    }


def _wording_report(found: Any) -> dict[str, Any]:
    worst = found.worst

    def rounded(value: float | None) -> float | None:
        return None if value is None else round(value, 2)

    return {
        "wording": found.wording, "takes": len(found.takes), "grade": found.grade,
        "believed": found.count("believed"), "asked_again": found.count("asked again"),
        "not_heard": found.count("not heard"), "taken": found.count("taken for another"),
        "worst": {
            "step": worst.step, "heard": worst.heard, "answer": worst.for_answer, "nearest": worst.nearest,
            "score": rounded(worst.score), "margin": rounded(worst.margin), "why": worst.why,
        },
    }  # fmt: skip


def _show(parts: Sequence[tuple[str, Any]], folder: Path, page: Path | None, ignored: list[Path]) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from prompter.ready.say_this import line

    console = Console(highlight=False)
    untried = 0
    for title, found in parts:
        tried = [answer for answer in found if answer.wordings]
        untried += len(found) - len(tried)
        if not tried:
            continue
        console.print(Text(f"\n{title}", style="bold"))
        grid = Table.grid(padding=(0, 2))
        for answer in tried:
            told = line(answer)
            rather = f"rather not: {'; '.join(told.avoid)}" if told.avoid else ""
            score = answer.advice.say.worst.score if answer.advice.say else None
            shown = "" if score is None else f"[score {score:.1f}]"
            instead = f" (instead of “{told.taught}”)" if told.taught else ""
            grid.add_row(Text(f"  say: {told.say}{instead}"), Text(told.note), Text(rather), Text(shown, style="dim"))
        console.print(grid)
    console.print()
    if untried:
        console.print(f"Not recorded yet: {untried} answers.")
    if ignored:
        console.print(Text(f"No wording of the flow: {', '.join(path.name for path in ignored)}"))
    console.print(Text(f"Recordings: {folder} (delete a file to record it anew)"), soft_wrap=True)
    if page:
        console.print(Text(f"To print and hang up: {page}"), soft_wrap=True)
