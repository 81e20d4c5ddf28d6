"""`prompter ears install`: the second ear's model, the one thing this program ever fetches."""

import json
import os
from pathlib import Path
from typing import Annotated, Self

import typer
from rich.console import Console
from rich.progress import (
    BarColumn,
    DownloadColumn,
    Progress,
    TaskID,
    TextColumn,
    TimeRemainingColumn,
    TransferSpeedColumn,
)  # fmt: skip

from prompter.errors import CannotDo

CANNOT = 2


def install_command(
    source: Annotated[
        Path | None, typer.Option("--from", help="A zip that is here already; nothing is fetched.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Install the second ear: the English Vosk model (41 MB) from its maker's site.

    Nothing else in this program ever fetches anything, and this only when
    you start it. Size and SHA-256 are checked before anything is unpacked;
    an interrupted fetch goes on where it was. The model (Apache-2.0) goes to
    your own place, where `prompter ears` looks for it.
    """
    from prompter.hear.models.installing import install
    from prompter.hear.models.known import VOSK_ENGLISH
    from prompter.hear.vosk_ear import model_folder, own_folder

    folder = own_folder()
    try:
        with _Bar() as bar:
            done = install(VOSK_ENGLISH, folder, source, bar.show)
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(CANNOT) from None
    if done.aside:
        typer.echo(f"A folder that was in the way is now {done.aside}.", err=True)
    if model_folder() != folder:
        named = os.environ["PROMPTER_VOSK_MODEL"]
        typer.echo(f"PROMPTER_VOSK_MODEL names {named}: that is used, not this one.", err=True)
    if as_json:
        found = {
            "model": done.archive.name, "folder": str(folder), "already": done.already,
            "files": done.files, "archive_sha256": done.archive.sha256,
        }  # fmt: skip
        typer.echo(json.dumps(found, ensure_ascii=False))
        return
    how = "was there already, whole" if done.already else "is installed"
    typer.echo(f"{done.archive.name} {how}: {folder}. `prompter ears` shows it.")


class _Bar:
    """One line a phase, on standard error."""

    def __init__(self) -> None:
        self._progress = Progress(
            TextColumn("{task.description:<9}"), BarColumn(), DownloadColumn(),
            TransferSpeedColumn(), TimeRemainingColumn(), console=Console(stderr=True),
        )  # fmt: skip
        self._tasks: dict[str, TaskID] = {}

    def __enter__(self) -> Self:
        self._progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._progress.stop()

    def show(self, phase: str, done: int, total: int) -> None:
        if phase not in self._tasks:
            self._tasks[phase] = self._progress.add_task(phase, total=total)
        self._progress.update(self._tasks[phase], completed=done)
