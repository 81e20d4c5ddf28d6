"""The commands `prompter ears …`: which recognisers are ready, and what they make of a clip."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from rich.console import Console
from rich.table import Table

from prompter.cli_ears_install import install_command
from prompter.cli_ears_measure import measure_command
from prompter.cli_tune import tune_command
from prompter.errors import CannotDo
from prompter.events import Phrase
from prompter.hear.clip import read_clip
from prompter.hear.ear import Ear
from prompter.hear.ears import every_ear, loaded_ears
from prompter.hear.listening import allowed_phrases, listen, surest

app = typer.Typer(rich_markup_mode="rich")
app.command("tune")(tune_command)
app.command("install")(install_command)
app.command("measure")(measure_command)

HOLDS, HOLDS_NOT, CANNOT = 0, 1, 2


@app.callback(invoke_without_command=True)
def ears(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """List which ears (recognisers) are ready, and what is missing.

    Ends with 0 if the embedded ear is ready, with 1 if it is not.

    Models may lie anywhere: PROMPTER_WHISPER_MODEL and PROMPTER_VOSK_MODEL
    name their folders. A folder is used only if the SHA-256 of its files are
    the known ones (for Vosk also: those that `prompter ears install` wrote
    down beside the files of the verified zip). There is no way to use
    another: a model nobody has measured takes no part in an emergency.
    """
    if context.invoked_subcommand is not None:
        return
    found = [_state_of(ear) for ear in every_ear()]
    if as_json:
        typer.echo(json.dumps({"ears": found}, ensure_ascii=False))
    else:
        table = Table("ear", "ready", "what is missing")
        for row in found:
            names = ", with ".join([row["name"], *row["also"]])
            table.add_row(names, "yes" if row["ready"] else "no", row["missing"] or row["note"])
        Console().print(table)
    raise typer.Exit(HOLDS if found[0]["ready"] else HOLDS_NOT)


def _state_of(ear: Ear) -> dict[str, Any]:
    check = getattr(ear, "intact", ear.ready)
    ready, missing = check()
    return {
        "name": ear.name, "ready": ready, "missing": missing, "note": getattr(ear, "note", ""),
        "also": list(getattr(ear, "also", ())),
    }  # fmt: skip


@app.command()
def hear(
    files: Annotated[list[Path], typer.Argument(help="Sound files: FLAC, WAV or OGG.")],
    phrases: Annotated[
        str, typer.Option("--phrases", help='What is allowed, as "chest flat; going up".')
    ],
    risk: Annotated[
        str,
        typer.Option("--risk", help="How sure to be: plain, branch or good (the strictest)."),
    ] = "branch",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Tell what the ears make of sound files, on the path that live sound takes."""
    try:
        allowed = allowed_phrases(phrases, risk)
        sounds = [read_clip(path) for path in files]
        panel = loaded_ears(tell=lambda line: typer.echo(line, err=True))
        for ear in panel:
            ear.prepare(allowed)
        clips = [
            {"file": str(path), **_heard_in(sound, panel, allowed)}
            for path, sound in zip(files, sounds, strict=True)
        ]
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(CANNOT) from None
    names = [ear.name for ear in panel]
    if as_json:
        sys.stdout.write(json.dumps({"ears": names, "clips": clips}, ensure_ascii=False) + "\n")
        return
    table = Table("file", "heard", "believed", "score", "next", "ms", "why not")
    for clip in clips:
        table.add_row(
            clip["file"],
            clip["heard"] or "-",
            "yes" if clip["believed"] else "no",
            "-" if clip["score"] is None else f"{clip['score']:+.1f}",
            clip["runner_up"] or "-",
            str(clip["decide_ms"]),
            clip["why"],
        )
    Console().print(table)


def _heard_in(sound: np.ndarray, ears: Sequence[Ear], allowed: Sequence[Phrase]) -> dict[str, Any]:
    """The believed utterance of a clip, or the surest if none is."""
    listened = listen(sound, ears, allowed)
    for trouble in listened.trouble:
        typer.echo(trouble, err=True)
    best = surest(listened.heard)
    return {
        "heard": best.heard.text if best and best.heard else None,
        "believed": bool(best and best.heard and best.believed),
        "score": round(best.score, 2) if best and best.score is not None else None,
        "runner_up": best.runner_up if best else None,
        "decide_ms": best.decide_ms if best else 0,
        "text": best.text if best else "",
        "why": best.why if best else "no speech",
        "number": list(best.number) if best and best.number else None,
        "utterances": len(listened.heard),
    }
