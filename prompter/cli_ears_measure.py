"""`prompter ears measure`: right, wrong and asked again on a folder of recordings."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear.ears import loaded_ears
from prompter.hear.listening import allowed_phrases
from prompter.hear.measure.measuring import Measurement, typical_speech_rms
from prompter.hear.measure.mixing import Surroundings
from prompter.hear.measure.recordings import Recordings, find_recordings, noise_files

CANNOT, STOPPED = 2, 130


def measure_command(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="Holds spoken-words/<label>/ and room-noise/<kind>/."),
    ],
    phrases: Annotated[
        str | None,
        typer.Option(
            "--phrases",
            help='What is allowed, as "yes; no; stop". Otherwise those of yes, no and stop that are '
            "labels here; if none is, every label but unknown and silence.",
        ),
    ] = None,
    risk: Annotated[
        str, typer.Option("--risk", help="How sure to be: plain, branch or good (the strictest).")
    ] = "branch",
    noise: Annotated[
        str | None,
        typer.Option("--noise", help="Noise under the words: a kind in room-noise/, or a path."),
    ] = None,
    snr: Annotated[
        float | None,
        typer.Option("--snr", help="Active speech above that noise, dB (RMS against RMS)."),
    ] = None,
    speakers: Annotated[
        str, typer.Option("--speakers", help="all, or report: the half that tuned nothing.")
    ] = "all",
    limit: Annotated[
        int | None, typer.Option("--limit", help="Clips a label (and a kind of noise), at most.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Draws the noise's recording and offset.")] = 0,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Measure the ears on recordings, on the path that live sound takes.

    A clip whose label is one of the phrases is right (believed, and the
    same), wrong (believed, and another) or asked again; of any other label
    nothing must be believed ("taken"), and nothing out of room noise alone.
    Files are FLAC, WAV or OGG of any rate; what cannot be read is told,
    counted and left out. Ctrl-C shows what was measured so far.
    """
    try:
        found = find_recordings(folder)
        asked = {"risk": risk, "noise_under": noise, "snr_db": snr, "speakers": speakers,
                 "limit": limit, "seed": seed}  # fmt: skip
        _check(asked)
        allowed = allowed_phrases("; ".join(found.default_phrases()) if phrases is None else phrases, risk)
        measurement = _prepared(found, allowed, asked)
        whole = _run(measurement)
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(CANNOT) from None
    record = measurement.record() | asked | {"complete": whole}
    if as_json:
        sys.stdout.write(json.dumps(record, ensure_ascii=False) + "\n")
    else:
        show(record, Console(highlight=False))
    if not whole:
        raise typer.Exit(STOPPED)


def _check(asked: dict[str, Any]) -> None:
    if asked["speakers"] not in ("all", "report"):
        raise CannotDo(f"'{asked['speakers']}' are no speakers.", "--speakers", "Give all or report.")
    if asked["limit"] is not None and asked["limit"] < 1:
        raise CannotDo(f"{asked['limit']} clips are none.", "--limit", "Give 1 or more.")
    if (asked["noise_under"] is None) != (asked["snr_db"] is None):
        raise CannotDo("one goes with the other.", "--noise and --snr", "Give both, or neither.")
    if asked["snr_db"] is not None and not -60 <= asked["snr_db"] <= 100:
        raise CannotDo(f"{asked['snr_db']} dB is out of range.", "--snr", "Give -60 to 100.")
    if asked["seed"] < 0:
        raise CannotDo(f"{asked['seed']} is below 0.", "--seed", "Give 0 or more.")


def _prepared(found: Recordings, allowed: Sequence[Phrase], asked: dict[str, Any]) -> Measurement:
    surroundings = None
    if asked["noise_under"] is not None:
        files = noise_files(found, asked["noise_under"])
        level = typical_speech_rms(found)
        surroundings = Surroundings(files, asked["snr_db"], asked["seed"], level)
    ears = loaded_ears(tell=lambda line: typer.echo(line, err=True))
    for ear in ears:
        ear.prepare(allowed)
    return Measurement(found.only(asked["speakers"], asked["limit"]), ears, allowed, surroundings)


def _run(measurement: Measurement) -> bool:
    """Hear everything, with a bar on standard error; False when stopped by Ctrl-C."""
    jobs = measurement.jobs()
    bar = Progress(
        TextColumn("{task.description:<12}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        console=Console(stderr=True, highlight=False),
    )  # fmt: skip
    try:
        with bar:
            task = bar.add_task("", total=len(jobs))
            for job in jobs:
                bar.update(task, description=(job.label or job.path.parent.name)[:12])
                if unread := measurement.take(job):
                    bar.console.print(unread, markup=False, soft_wrap=True)
                bar.advance(task)
    except KeyboardInterrupt:
        typer.echo("Stopped: these are the figures so far.", err=True)
        return False
    if jobs and len(measurement.tally.damaged) == len(jobs):
        raise CannotDo(
            f"none of {len(jobs)} files can be read.", "DIR", "Give FLAC, WAV or OGG recordings."
        )
    return True


def show(record: dict[str, Any], console: Console) -> None:
    """The figures as people read them: count, n, share, and the one-sided 95% upper bound."""
    console.print(_conditions(record), soft_wrap=True, markup=False)
    if words := record["words"]:
        table = Table("said", "clips", "right", "wrong", "wrong at most", "asked again")
        for label, row in [*words.items(), *([("all", record["all_words"])] if len(words) > 1 else [])]:
            n = row["clips"]
            table.add_row(
                label, str(n), _share(row["right"], n), _share(row["wrong"], n),
                f"{row['wrong_at_most']:.2%}", _share(row["asked_again"], n),
            )  # fmt: skip
        console.print(table)
    if record["others"]:
        table = Table("not to be believed", "clips", "taken", "taken at most")
        for label, row in record["others"].items():
            n = row["clips"]
            table.add_row(label, str(n), _share(row["taken"], n), f"{row['taken_at_most']:.2%}")
        console.print(table)
    for line in _below(record):
        console.print(line, soft_wrap=True, markup=False)


def _conditions(record: dict[str, Any]) -> str:
    noise = f"{record['noise_under']} at {record['snr_db']:g} dB" if record["noise_under"] else "as recorded"
    who = "speakers that tuned nothing" if record["speakers"] == "report" else "all speakers"
    return (
        f"Ears: {', '.join(record['ears'])}. Allowed: {'; '.join(record['phrases'])} "
        f"({record['risk']}). {noise}; {who}; seed {record['seed']}."
    )


def _below(record: dict[str, Any]) -> list[str]:
    noise, decide = record["noise"], record["decide_ms"]
    lines = [f"deciding: p50 {decide['p50']} ms, p95 {decide['p95']} ms, n {decide['n']}"]
    if noise["seconds"]:
        lines.append(
            f"room noise alone: {noise['taken']} taken in {noise['seconds']:.0f} s "
            f"(at most {noise['taken_per_hour_at_most']:.1f} an hour)"
        )
    lines += [f"BELIEVED: {row['file']} as '{row['heard']}'" for row in record["believed_and_should_not"]]
    if record["damaged"]:
        lines.append(f"left out, could not be read: {len(record['damaged'])}")
    lines += [f"trouble: {line}" for line in record["trouble"]]
    return [*lines, '"At most": one-sided 95% upper bounds (Clopper and Pearson; Garwood).']


def _share(count: int, n: int) -> str:
    return f"{count} ({count / n:.1%})" if n else "0"
