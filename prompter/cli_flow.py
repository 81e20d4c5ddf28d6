"""The commands `prompter flow …`: read a protocol, check its file, and give its schema."""

import json
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import TypeAdapter
from rich.console import Console
from rich.text import Text

from prompter import cli_papers
from prompter.care.plan import for_no_plan, load_plan
from prompter.cli_approve import approve_flow
from prompter.cli_proof import check_flows, mutate, replay_trace
from prompter.cli_simulate import simulate
from prompter.errors import CannotDo
from prompter.flow.document import Flow, SideFlow
from prompter.flow.family import least_approved
from prompter.flow.reading import load_flow
from prompter.flow.table import STAY, Row, Spoken, Stand, Table, Variant, build
from prompter.resources import named_flow

app = typer.Typer(help="Show and check protocols.", no_args_is_help=True, rich_markup_mode="rich")

app.command("approve")(approve_flow)
app.command()(simulate)
cli_papers.add_to(app)

CANNOT = 2
USUAL = "breathing-trouble"


def _fail(error: CannotDo) -> typer.Exit:
    typer.echo(error.one_line(), err=True)
    return typer.Exit(CANNOT)


@app.command()
def show(
    flow: Annotated[
        str, typer.Argument(help="A flow's name, such as breathing-trouble, or its file.")
    ] = USUAL,
    plan: Annotated[
        Path | None,
        typer.Option("--plan", help="Show it as this care plan has it; without: as with no plan."),
    ] = None,
) -> None:
    """Show a flow step by step: what is said, which answers lead where, and what silence does."""
    try:
        file = named_flow(flow)
        table = build(load_flow(file), _variant(plan))
    except CannotDo as error:
        raise _fail(error) from None
    _print(table, least_approved(file, date.today())[1].says, Console(soft_wrap=True))


@app.command()
def lint(file: Annotated[Path, typer.Argument(help="The flow's file.")]) -> None:
    """Check a flow's file: every problem with its line and how to mend it. Exit code 2 if there is one."""
    try:
        flow = load_flow(file)
    except CannotDo as error:
        raise _fail(error) from None
    typer.echo(f"{file}: nothing to mend ({len(flow.steps)} steps, {len(flow.answers)} answers).")


app.command("check")(check_flows)
app.command("replay")(replay_trace)
app.command("mutants")(mutate)


@app.command()
def words(
    flow: Annotated[
        str, typer.Argument(help="A flow's name, such as breathing-trouble, or its file.")
    ] = USUAL,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as JSON.")] = False,
    matrix: Annotated[
        bool, typer.Option("--matrix", help="Only which answers voices were taken for, by answer.")
    ] = False,
) -> None:
    """Show each step's words, and how easily each is taken for another answer's."""
    from prompter.cli_words import show_words

    try:
        show_words(load_flow(named_flow(flow)), as_json, matrix)
    except CannotDo as error:
        raise _fail(error) from None


@app.command()
def schema() -> None:
    """Print the JSON Schema of flow files."""
    typer.echo(schema_text(), nl=False)


def schema_text() -> str:
    """The text of shared/schemas/flow.schema.json."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema"} | flow_schema()
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def flow_schema() -> dict[str, Any]:
    """As pydantic gives it for what may be written in the file: a flow, or a side flow."""
    schema = TypeAdapter(Flow | SideFlow).json_schema(by_alias=True, mode="validation")
    del schema["$defs"]["Joined"], schema["$defs"]["Flow"]["properties"]["joined"]  # the program's own
    return schema


def _variant(plan: Path | None) -> Variant:
    if plan is None:
        return Variant(*for_no_plan())
    read = load_plan(plan)
    return Variant(read.facts(), read.spoken(), read.numbers())


# ---- on the terminal -----------------------------------------------------------------------------


def _print(table: Table, stands: str, console: Console) -> None:
    flow = table.flow
    console.print(Text(f"{flow.title}, version {flow.version}", style="bold"))
    console.print(Text(f"This flow is {stands}"))
    console.print(Text(f"For: {', '.join(sorted(table.variant.facts))}"))
    everywhere = [row for row in table.rows if row.everywhere and row.source == next(iter(table.stands))]
    shown = set(flow.covered_steps)
    for stand in table.stands.values():
        if stand.name in shown:
            _print_step(table, stand, console)
    if flow.flow != flow.base:
        console.print(Text(f"\nOther steps: prompter flow show {flow.base}"))
    console.print()
    console.print(Text("At every step", style="bold"))
    _print_answers(table, everywhere, console)


def _print_step(table: Table, stand: Stand, console: Console) -> None:
    console.print()
    console.print(Text.assemble((stand.name, "bold cyan"), "  ", (stand.title, "bold")))
    for spoken in (*stand.say, *stand.then_say, *_first_that_holds(stand.ask)):
        _line(console, f"“{spoken.text}”" + _sometimes(spoken))
    if stand.beat:
        count = f", {stand.beat_count}" if stand.beat_count else ""
        _line(console, f"beat: {stand.beat}{count}" + (" by mask" if stand.through_mask else ""))
    own = [row for row in table.rows if row.source == stand.name and not row.everywhere]
    _print_answers(table, [r for r in own if r.trigger not in ("silent", "after", "gap") and not r.returns], console)
    _print_silence(stand, [r for r in own if r.trigger == "silent"], console)
    for row in own:
        if row.trigger == "after":
            _line(console, f"then → {row.target}{_if(row)}")
    if stand.how:
        _line(console, f"how do I: “{stand.how}”")


def _first_that_holds(lines: tuple[Spoken, ...]) -> tuple[Spoken, ...]:
    for index, spoken in enumerate(lines):
        if spoken.guard is None:
            return lines[: index + 1]
    return lines


def _print_answers(table: Table, rows: list[Row], console: Console) -> None:
    told = set()
    for row in rows:
        body = table.flow.answers.get(row.trigger)
        words = "" if body is None or row.trigger in told else f"  ({'; '.join(body.wordings)})"
        told.add(row.trigger)
        target = "stays" if row.target == STAY else f"→ {row.target}"
        said = "".join(f" “{s.text}”" for s in row.say)
        twice = ", said twice" if row.confirm else ""
        _line(console, f"{row.trigger}{twice} {target}{said}{_if(row)}{words}")


def _print_silence(stand: Stand, rows: list[Row], console: Console) -> None:
    for quiet in stand.quiet:
        times = [
            f"{what} {ms / 1000:g} s"
            for what, ms in (("repeats after", quiet.repeat_ms), ("acts after", quiet.act_ms), ("every", quiet.every_ms))
            if ms is not None
        ]
        said = "".join(f" “{s.text}”" for s in quiet.say)
        when = " (if it holds)" if quiet.guard is not None else ""
        _line(console, f"silence {', '.join(times)}{said}{when}")
    for row in rows:
        _line(console, f"silence → {row.target or 'stays'}{_if(row)}")


def _if(row: Row) -> str:
    return f"  if {', '.join(atom.text for atom in row.atoms)}" if row.atoms else ""


def _sometimes(spoken: Spoken) -> str:
    return "  (if it holds)" if spoken.guard is not None else ""


def _line(console: Console, text: str) -> None:
    console.print(Text(f"    {text}"))
