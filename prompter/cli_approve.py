"""`prompter plan approve` and `prompter flow approve`: a clinician's approval, written beside the file."""

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from prompter.care.approval import new_approval, sidecar_of, standing, write_approval
from prompter.errors import CannotDo

File = Annotated[Path, typer.Argument(help="The file that was read and is approved.")]
By = Annotated[str, typer.Option("--by", help="The clinician's name.", show_default=False)]
Role = Annotated[str, typer.Option("--role", help="What the clinician is.", show_default=False)]
Until = Annotated[
    datetime,
    typer.Option("--until", formats=["%Y-%m-%d"], help="The last day, such as 2031-05-01.", show_default=False),
]
Yes = Annotated[bool, typer.Option("--yes", help="Write it without asking.")]


def approve_plan(file: File, by: By, role: Role, until: Until, yes: Yes = False) -> None:
    """Write down that a clinician approved this plan as it is now, and until when.

    It is written into a file beside the plan and holds for these bytes only: after any change the
    plan is no longer approved. An invented demonstration cannot be approved.
    """
    from prompter.care.plan import load_plan

    _cannot_if(load_plan(file).demonstration, file)
    _approve("plan", file, by, role, until.date(), yes)


def approve_flow(file: File, by: By, role: Role, until: Until, yes: Yes = False) -> None:
    """Write down that a clinician approved this flow as it is now, and until when.

    It is written into a file beside the flow and holds for these bytes only: after any change the
    flow is no longer approved.
    """
    from prompter.flow.family import least_approved
    from prompter.flow.reading import load_flow

    load_flow(file)
    _approve("flow", file, by, role, until.date(), yes)
    least, found = least_approved(file, date.today())
    if not found.holds:
        typer.echo(f"It is {found.says} Then: prompter flow approve {least}")


def _cannot_if(invented: bool, file: Path) -> None:
    if invented:
        raise CannotDo(
            
            "this is an invented demonstration: nobody can approve it.",
            str(file),
            "Make a plan of your own: prompter plan new",
        
        )


def _approve(noun: str, file: Path, by: str, role: str, until: date, yes: bool) -> None:
    today = date.today()
    approval = new_approval(file, by, role, until, today)
    typer.echo(f"{file}: this {noun} is {standing(file, today).says}")
    typer.echo(f"SHA-256 of the file: {approval.sha256}")
    question = f"Has {approval.by}, {approval.role}, read this {noun} whole, and approves it until {until}?"
    if not yes and not typer.confirm(question):
        typer.echo(f"Nothing is written: {sidecar_of(file).name} stays as it is.")
        raise typer.Exit(1)
    beside = write_approval(file, approval)
    typer.echo(f"Written: {beside}. After any change of the {noun} it no longer holds.")
