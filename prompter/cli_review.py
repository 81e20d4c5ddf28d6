"""The command `prompter review`: the account of incidents for the clinician."""

import os
import sys
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from prompter.care import place
from prompter.errors import CannotDo
from prompter.journal import keys, read_sound
from prompter.review import Incident, as_csv, as_json, build, render
from prompter.review.files import write_private
from prompter.review.sounds import Heard, sounds_of


class Form(StrEnum):
    html = "html"
    pdf = "pdf"
    csv = "csv"
    fhir = "fhir"
    json = "json"


class FhirVersion(StrEnum):
    R4B = "R4B"
    R5 = "R5"


ONE_EACH = (Form.html, Form.pdf, Form.fhir)
ENDINGS = {Form.html: ".html", Form.pdf: ".pdf", Form.fhir: ".fhir.json"}


@dataclass(frozen=True, slots=True)
class Reviewed:
    """A journal's path, its account, and the kept sound of its utterances."""

    path: Path
    incident: Incident
    sounds: dict[int, Heard]


def review_command(
    journals: Annotated[
        list[Path] | None, typer.Argument(metavar="JOURNAL ...", help="one journal or several")
    ] = None,
    many: Annotated[
        Path | None,
        typer.Option("--many", help="review all journals of a folder together: page, CSV, Parquet"),
    ] = None,
    rehearsals: Annotated[
        bool, typer.Option("--rehearsals", help="with --many: the rehearsals, not the emergencies")
    ] = False,
    engine: Annotated[
        str, typer.Option("--engine", help="with --many: duckdb, or spark where the data are")
    ] = "duckdb",
    form: Annotated[
        Form,
        typer.Option("--format", help="html, pdf, fhir: a file each; csv, json: all together"),
    ] = Form.html,
    out: Annotated[
        Path | None,
        typer.Option(
            help="file to write (a folder for several). Default: beside the journals; csv and json printed"
        ),
    ] = None,
    pdf: Annotated[Path | None, typer.Option(help="write a PDF of one journal here as well")] = None,
    csv: Annotated[Path | None, typer.Option(help="write CSV here as well")] = None,
    fhir: Annotated[
        Path | None, typer.Option(help="write a FHIR Bundle of one journal here as well")
    ] = None,
    fhir_version: Annotated[FhirVersion, typer.Option(help="release of FHIR")] = FhirVersion.R5,
    anonymous: Annotated[
        bool, typer.Option("--anonymous", help="leave out names, sound and free notes")
    ] = False,
    key: Annotated[
        Path | None, typer.Option("--key", help="the family's private key, for encrypted journals")
    ] = None,
) -> None:
    """Make the account of an incident from its journal: a page, PDF, CSV, FHIR or JSON.

    A damaged journal is reviewed up to the damage, which the account says; the exit code is then 1.
    """
    keys.look_for_keys_in(place.key_folder())
    if key is not None:
        os.environ[keys.KEY_VARIABLE] = str(key)
    if many is not None:
        if journals:
            raise CannotDo("goes with a folder alone", str(journals[0]), "prompter review --many FOLDER.")
        raise typer.Exit(_review_many(many, out, rehearsals, engine))
    if not journals:
        raise CannotDo("no journal is named", "review", "prompter review JOURNAL, or --many FOLDER.")
    reviewed, code = _read(journals, anonymous, with_sound=form is Form.html)
    try:
        for target in (out, pdf, csv, fhir):
            if target is not None and any(_is_one_of(journal, target) for journal in journals):
                raise CannotDo("it is the journal itself", str(target), "choose another name.")
        if len(journals) > 1 and (pdf or fhir):
            raise CannotDo("holds one incident", str(pdf or fhir), "use --format with a folder as --out.")
        _put_out(reviewed, form, out, len(journals) > 1, fhir_version)
        for one in reviewed:
            if pdf is not None:
                write_private(pdf, _made(one, Form.pdf, fhir_version))
            if fhir is not None:
                write_private(fhir, _made(one, Form.fhir, fhir_version))
        if csv is not None and reviewed:
            write_private(csv, as_csv(one.incident for one in reviewed))
    except CannotDo as error:
        print(error.one_line(), file=sys.stderr)
        code = 2
    except OSError as error:
        cannot = CannotDo(
            f"cannot be written ({error.strerror})",
            str(error.filename or out or "standard output"),
            "choose another place.",
        )
        print(cannot.one_line(), file=sys.stderr)
        code = 2
    raise typer.Exit(code)


def _is_one_of(journal: Path, target: Path) -> bool:
    """Whether both are one file, by whatever names or links."""
    try:
        return target.is_file() and journal.samefile(target)
    except OSError:
        return False


def _review_many(folder: Path, out: Path | None, rehearsals: bool, engine: str) -> int:
    """The exit code: 1 if any file was set apart. Raises CannotDo."""
    out = out or folder / "account"
    try:
        from prompter.review.many.engines import Engine
        from prompter.review.many.run import review_many

        if engine not in [*Engine]:
            raise CannotDo("no such engine", engine, f"choose {' or '.join(Engine)}.")
        found = review_many(folder, out, rehearsals, Engine(engine))
    except ImportError as error:
        raise CannotDo(
            f"needs the library {error.name}", "review --many", 'pip install "prompter[many]"'
        ) from error
    except OSError as error:
        where = str(error.filename or out)
        raise CannotDo(f"cannot be written ({error.strerror})", where, "give --out FOLDER.") from error
    print(found.page)
    apart = len(found.gathered.apart)
    if apart:
        print(f"{folder}: {apart} of {apart + found.gathered.journals} files set apart: {out / 'set-apart.csv'}", file=sys.stderr)
    return 1 if apart else 0


def _read(journals: list[Path], anonymous: bool, with_sound: bool) -> tuple[list[Reviewed], int]:
    """What can be read of the journals, and the exit code so far."""
    found, code = [], 0
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
        incident = build(reading, path.name, anonymous)
        sounds = sounds_of(path, reading.events) if with_sound and not anonymous else {}
        found.append(Reviewed(path, incident, sounds))
    return found, code


def _put_out(
    reviewed: list[Reviewed], form: Form, out: Path | None, several: bool, version: FhirVersion
) -> None:
    if form in ONE_EACH:
        for one in reviewed:
            # Without names, not by the journal's name either, and never over the page that has them.
            stem = f"account-{one.incident.id}" if one.incident.anonymous else one.path.stem
            name = f"{stem}{ENDINGS[form]}"
            target = (
                one.path.with_name(name)
                if out is None
                else out / name
                if several or out.is_dir()
                else out
            )
            write_private(target, _made(one, form, version))
            print(target)
        return
    text = {Form.csv: as_csv, Form.json: as_json}[form](one.incident for one in reviewed)
    if out is not None:
        write_private(out, text)
    else:
        sys.stdout.write(text)


def _made(one: Reviewed, form: Form, version: FhirVersion) -> str | bytes:
    if form is Form.pdf:
        from prompter.review.paper import as_pdf

        return as_pdf(one.incident)
    if form is Form.fhir:
        from prompter.review.fhir import as_fhir

        return as_fhir(one.incident, version.value)
    return render(one.incident, one.sounds)

