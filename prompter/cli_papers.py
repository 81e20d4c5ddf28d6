"""`prompter flow draw`, `flow print`, `flow diff`: what a protocol looks like on paper."""

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

import typer

from prompter.care.approval import Standing, plan_standing
from prompter.care.plan import Plan, for_no_plan, load_plan
from prompter.errors import CannotDo
from prompter.flow.document import Flow
from prompter.flow.family import family_text, least_approved
from prompter.flow.reading import load_flow
from prompter.flow.table import Table, Variant, build
from prompter.resources import named_flow

USUAL = "breathing-trouble"
FlowName = Annotated[str, typer.Argument(help="A flow's name, such as breathing-trouble, or its file.")]
PlanFile = Annotated[
    Path | None, typer.Option("--plan", help="As this care plan has it; without: as with no plan.")
]


@dataclass(frozen=True)
class Sources:
    """A flow as one plan has it, with its text and how both stand today."""

    table: Table
    text: str
    plan: Plan | None
    flow_stands: Standing
    plan_stands: Standing | None

    def foot(self) -> str:
        """Version, patient and approval in one line."""
        flow = self.table.flow
        told = f"{flow.title}, version {flow.version}: {self.flow_stands.says}"
        if self.plan is None or self.plan_stands is None:
            return f"{told} No care plan: no numbers."
        return f"{told} Plan of {self.plan.patient.name}: {self.plan_stands.says}"


def draw(
    flow: FlowName = USUAL,
    plan: PlanFile = None,
    form: Annotated[Literal["svg", "mermaid"], typer.Option("--format", help="svg: A4 pages; mermaid: text.")] = "svg",
    out: Annotated[
        Path | None, typer.Option("--out", help="svg: the folder for the pages; mermaid: the file, else printed.")
    ] = None,
) -> None:
    """Draw a flow from its table: care part by part, and the emergency call apart.

    Each SVG is one A4 page that can be read when printed. "?" marks what is only under conditions.
    """
    from prompter.papers.layout import sheets
    from prompter.papers.mermaid import mermaid
    from prompter.papers.picture import call_picture, care_pictures
    from prompter.papers.svg import svg

    sources = read_sources(flow, plan)
    care, call = care_pictures(sources.table, sources.text), call_picture(sources.table)
    if form == "mermaid":
        text = mermaid(care[1:-1], call)
        typer.echo(text, nl=False) if out is None else _write(out, text.encode())
        return
    folder = out or Path(f"{sources.table.flow.flow}-pages")
    for picture in [*care, call]:
        pages = sheets(picture)
        for number, sheet in enumerate(pages):
            letter = chr(ord("a") + number) if pages[1:] else ""
            name = f"call{letter}.svg" if picture is call else f"care-{picture.number}{letter}.svg"
            _write(folder / name, svg(sheet, sources.foot()).encode())
            typer.echo(f"{folder / name}: {sheet.title}")


def print_card(
    flow: FlowName = USUAL,
    plan: PlanFile = None,
    out: Annotated[Path | None, typer.Option("--out", help="The PDF's file.")] = None,
) -> None:
    """Print the card for the wall: one A4 page (PDF) with the steps in short, and the words to say."""
    from prompter.papers.card import card_pdf

    sources = read_sources(flow, plan)
    file = out or Path(f"{sources.table.flow.flow}-card.pdf")
    stands = [line for line in (sources.flow_stands, sources.plan_stands) if line is not None]
    invented = sources.plan is not None and sources.plan.demonstration
    not_approved = [] if all(stand.holds for stand in stands) else [sources.foot()]
    _write(file, card_pdf(sources.table, sources.plan, invented, not_approved or [sources.foot()], bool(not_approved)))
    typer.echo(f"{file}: one A4 page. {sources.foot()}")


def diff(
    before: Annotated[str, typer.Argument(help="A flow (name or file), a care plan's file, or a journal.")],
    after: Annotated[str, typer.Argument(help="The same sort, or a journal.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Say in words what changed between two flows, two plans, or what two journals used.

    Exit code 0: both mean the same. 1: something changed.
    """
    from prompter.papers.difference import flow_changes, plan_changes

    a, b = _anything(before), _anything(after)
    changes: list[str] = []
    if not (a[0] and b[0]) and not (a[2] and b[2]):
        raise CannotDo("a flow and a plan cannot be compared.", f"{before}, {after}", "Name two of the same sort.")
    if a[0] and b[0]:
        changes += flow_changes(a[0], b[0])
    if a[2] and b[2]:
        changes += plan_changes(a[1], b[1])
    if as_json:
        typer.echo(json.dumps({"same": not changes, "changes": changes}, ensure_ascii=False))
    else:
        for line in changes or ["Nothing that is said, asked, taken or timed differs."]:
            typer.echo(line)
    raise typer.Exit(1 if changes else 0)


def read_sources(name: str, plan_file: Path | None) -> Sources:
    """Raises CannotDo for a flow or plan that cannot be read."""
    file = named_flow(name)
    flow = load_flow(file)
    today, plan = date.today(), load_plan(plan_file) if plan_file else None
    variant = Variant(plan.facts(), plan.spoken(), plan.numbers()) if plan else Variant(*for_no_plan())
    stands = plan_standing(plan, plan_file, today) if plan and plan_file else None
    return Sources(build(flow, variant), family_text(file), plan, least_approved(file, today)[1], stands)


def _anything(name: str) -> tuple[Flow | None, Plan | None, bool]:
    """(flow, plan, whether it says anything about a plan) of a flow, a plan, or a journal."""
    file = named_flow(name) if not Path(name).is_file() else Path(name)
    if file.suffix == ".jsonl":
        return _of_journal(file)
    from prompter.care.reading import Sort, read_yaml

    sort = Sort("flow or plan", "Name a flow, a plan, or a journal.", 20_000, 12)
    if "steps" in read_yaml(file, sort).data:
        return load_flow(file), None, False
    return None, load_plan(file), True


def _of_journal(file: Path) -> tuple[Flow | None, Plan | None, bool]:
    from prompter.care.plan import parse_plan
    from prompter.flow.reading import parse_flow
    from prompter.journal.reading import read_sound

    opened = read_sound(file).events[0]
    if opened.get("kind") != "opened" or not isinstance(opened.get("flow_text"), str):
        raise CannotDo("its first line holds no flow.", str(file), "Name a journal that the prompter wrote.")
    plan = opened.get("plan_text")
    flow = parse_flow(opened["flow_text"], f"{file} (flow)")
    return flow, parse_plan(plan, f"{file} (plan)") if isinstance(plan, str) else None, True


def _write(file: Path, content: bytes) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotDo(f"cannot be written: {reason}.", str(file), "Name another place with --out.") from None


def add_to(app: typer.Typer) -> None:
    """Registers the three with `prompter flow`."""
    app.command("draw")(draw)
    app.command("print")(print_card)
    app.command("diff")(diff)
