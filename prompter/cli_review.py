"""The command `prompter review`: the account of incidents for the clinician."""

import os
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from prompter.care import place
from prompter.errors import CannotDo
from prompter.journal import keys, read_sound
from prompter.review import Incident, as_csv, as_json, build, render
from prompter.review.files import write_private


class Form(StrEnum):
    html = "html"
    csv = "csv"
    json = "json"


def review_command(
    journals: Annotated[
        list[Path], typer.Argument(metavar="JOURNAL ...", help="one journal or several")
    ],
    form: Annotated[
        Form, typer.Option("--format", help="html: one page each; csv, json: all together")
    ] = Form.html,
    out: Annotated[
        Path | None,
        typer.Option(
            help="file to write (a folder for several pages). Default: pages beside the journals, csv and json printed"
        ),
    ] = None,
    key: Annotated[
        Path | None, typer.Option("--key", help="the family's private key, for encrypted journals")
    ] = None,
) -> None:
    """Make the account of an incident from its journal: a page, or CSV or JSON.

    A damaged journal is reviewed up to the damage, which the account says; the exit code is then 1.
    """
    keys.look_for_keys_in(place.key_folder())
    if key is not None:
        os.environ[keys.KEY_VARIABLE] = str(key)
    incidents: list[tuple[Path, Incident]] = []
    code = 0
    for path in journals:
        try:
            reading = read_sound(path)
        except CannotDo as error:
            print(error.one_line(), file=sys.stderr)
            code = 2
            continue
        if not reading.intact:
            print(f"{path}: damaged, reviewed up to there: {reading.problem}", file=sys.stderr)
            code = max(code, 1)
        incidents.append((path, build(reading, path.name)))
    try:
        _put_out(incidents, form, out, len(journals) > 1)
    except OSError as error:
        print(
            CannotDo(
                f"cannot be written ({error.strerror})",
                str(error.filename or out),
                "choose another with --out.",
            ).one_line(),
            file=sys.stderr,
        )
        code = 2
    raise typer.Exit(code)


def _put_out(
    incidents: list[tuple[Path, Incident]], form: Form, out: Path | None, several: bool
) -> None:
    if form is Form.html:
        for path, incident in incidents:
            page = (
                path.with_suffix(".html")
                if out is None
                else out / f"{path.stem}.html"
                if several or out.is_dir()
                else out
            )
            write_private(page, render(incident))
            print(page)
        return
    text = {Form.csv: as_csv, Form.json: as_json}[form](incident for _, incident in incidents)
    if out is not None:
        write_private(out, text)
    else:
        sys.stdout.write(text)
