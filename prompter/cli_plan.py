"""The commands `prompter plan …`: make, check and show the care plan."""

import json
import sys
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from prompter.care import place
from prompter.care.approval import Standing, plan_standing
from prompter.care.ask import Interview
from prompter.care.card import print_card
from prompter.care.doubts import not_in_force, warnings
from prompter.care.plan import Plan, load_plan
from prompter.care.problems import PlanProblems
from prompter.care.writing import plan_yaml
from prompter.cli_approve import approve_plan
from prompter.errors import CannotDo

app = typer.Typer(
    help="Make, check and show the care plan.", no_args_is_help=True, rich_markup_mode="rich"
)

app.command("approve")(approve_plan)

HOLDS, HOLDS_NOT, CANNOT = 0, 1, 2


def _fail(error: CannotDo) -> typer.Exit:
    typer.echo(error.one_line(), err=True)
    return typer.Exit(CANNOT)


@app.command()
def new(
    source: Annotated[
        Path | None,
        typer.Option("--from", help="Suggest the answers of this plan, to renew it."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Write here, not to the place that `respond` reads."),
    ] = None,
) -> None:
    """Ask for a plan in plain words and write it.

    Every answer is checked at once and kept: stop with Ctrl-C and start again where you were.
    'back' goes to the question before. Do it in calm, with the clinician's orders at hand.
    """
    target = out or place.plan_file()
    try:
        old = load_plan(source) if source else None
        interview = Interview(place.draft_file(), old)
        if interview.resumed:
            typer.echo("Going on with the answers that were kept.")
        else:
            typer.echo("Every answer is kept. Stop with Ctrl-C. 'back' goes one question back.")
        plan = _until_right(interview)
        kept = _keep_old(target)
        place.write_private(target, plan_yaml(plan))
        interview.forget()
    except (typer.Abort, KeyboardInterrupt, EOFError):
        typer.echo("\nYour answers are kept. Go on with the same command.", err=True)
        raise typer.Exit(HOLDS_NOT) from None
    except CannotDo as error:
        raise _fail(error) from None
    typer.echo(f"\nWritten: {target}" + (f" (the plan before is {kept})" if kept else ""))
    typer.echo(f"This plan is {_standing(target, plan).says}")
    if not plan.demonstration:
        typer.echo(f"When the clinician has read it: prompter plan approve {target}")


def _until_right(interview: Interview) -> Plan:
    plan = interview.run(_ask, typer.echo)
    while True:
        print_card(plan, date.today(), Console())
        if typer.confirm("\nIs everything right?"):
            return plan
        typer.echo("Then once more; an empty answer keeps what you said.")
        plan = interview.run(_ask, typer.echo, again=True)


def _ask(words: str, suggestion: str | None) -> str:
    return str(typer.prompt(words, default=suggestion, type=str))


def _keep_old(target: Path) -> Path | None:
    """Puts a plan that is already there aside, so that nothing written by hand is lost."""
    if not target.exists():
        return None
    kept = target.with_name(f"{target.stem}.before{target.suffix}")
    try:
        text = target.read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotDo(
            f"the plan before cannot be read: {reason}.", str(target), "Move it away."
        ) from None
    place.write_private(kept, text)
    return kept


@app.command()
def check(
    file: Annotated[Path, typer.Argument(help="The plan's file.", show_default=False)],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Check a plan and print its card.

    Exit code 0: in force. 1: valid, but not approved, changed since, or overdue. 2: not valid.
    """
    today = date.today()
    try:
        plan = load_plan(file)
    except CannotDo as error:
        if as_json:
            _print_json(_report(file, problems=error))
        raise _fail(error) from None
    approval = _standing(file, plan)
    if as_json:
        _print_json(_report(file, plan=plan, today=today))
    else:
        print_card(plan, today, Console(), approval)
    reasons = not_in_force(plan, today)
    if not approval.holds and not reasons:
        reasons = [f"This plan is {approval.says}"]
    for reason in reasons:
        typer.echo(f"{file}: {reason}", err=True)
    raise typer.Exit(HOLDS if approval.holds else HOLDS_NOT)


@app.command()
def show(
    file: Annotated[
        Path | None,
        typer.Argument(help="The plan's file; without it, the one that `respond` reads."),
    ] = None,
) -> None:
    """Print the card of a plan, to read or to print on paper."""
    try:
        path = file or place.plan_file()
        plan = load_plan(path)
        print_card(plan, date.today(), Console(), _standing(path, plan))
    except CannotDo as error:
        raise _fail(error) from None


@app.command()
def schema(
    out: Annotated[
        Path | None, typer.Option("--out", help="Write it here, not to standard output.")
    ] = None,
) -> None:
    """Print the JSON Schema of a plan, for other programs."""
    text = schema_text()
    if out is None:
        sys.stdout.write(text)
        return
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        reason = error.strerror or str(error)
        raise _fail(
            CannotDo(f"cannot be written: {reason}.", str(out), "Name another file.")
        ) from None


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a plan, as it is kept in `shared/schemas`."""
    described = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    described |= Plan.model_json_schema()
    return json.dumps(described, indent=2, ensure_ascii=False) + "\n"


def _standing(file: Path, plan: Plan) -> Standing:
    return plan_standing(plan, file, date.today())


def _report(
    file: Path, plan: Plan | None = None, today: date | None = None, problems: CannotDo | None = None
) -> dict[str, Any]:
    single = [problems] if problems else []
    listed = problems.problems if isinstance(problems, PlanProblems) else single
    report: dict[str, Any] = {
        "file": str(file),
        "valid": plan is not None,
        "in_force": False,
        "problems": [{"where": p.where, "what": p.what, "mend": p.mend} for p in listed],
        "warnings": [],
    }
    if plan is not None and today is not None:
        approval = _standing(file, plan)
        report["in_force"] = approval.holds
        report["approval"] = {"state": approval.state, "says": f"This plan is {approval.says}"}
        report["warnings"] = warnings(plan, today)
        report |= {"facts": sorted(plan.facts()), "spoken": plan.spoken()}
        report["numbers"] = plan.numbers()
    return report


def _print_json(report: dict[str, Any]) -> None:
    typer.echo(json.dumps(report, ensure_ascii=False, indent=2))
