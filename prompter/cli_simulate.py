"""The command `prompter flow simulate`: many simulated emergencies with the real flow."""

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.text import Text

from prompter.errors import CannotDo

RUNS = 1_000
PIPED_COLUMNS = 128
"""A file has no width of its own."""


def simulate(
    runs: Annotated[int, typer.Option("--runs", min=1, max=1_000_000, help="How many emergencies.")] = RUNS,
    seed: Annotated[int, typer.Option("--seed", min=0, help="The first one's seed; the same seed gives the same bytes.")] = 0,
    trace: Annotated[bool, typer.Option("--trace", help="Show each run step by step instead of figures.")] = False,
    sensitivity: Annotated[bool, typer.Option("--sensitivity", help="Each parameter at both ends of its range, 200 runs unless --runs says.")] = False,
    flow: Annotated[Path | None, typer.Option("--flow", help="Another flow's file, such as a changed one.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on standard output.")] = False,
) -> None:
    """Simulate emergencies: the flow against people who are late, misheard or wrong, a card from memory beside it.

    A simulation proves nothing about patients. What it assumes, with sources and ranges: shared/world/parameters.yaml.
    """
    # Imported late: the other flow commands need none of it.
    from prompter.practise.world import report
    from prompter.practise.world.run import simulate as simulate_all
    from prompter.practise.world.sensitivity import RUNS as SENSITIVITY_RUNS

    if flow is not None:
        _readable(flow)
    path = "" if flow is None else str(flow)
    console = Console() if sys.stdout.isatty() else Console(width=PIPED_COLUMNS)
    if trace:
        _trace(range(seed, seed + runs), path)
        return
    if sensitivity:
        _sensitivity(range(seed, seed + (SENSITIVITY_RUNS if runs == RUNS else runs)), as_json, console)
        return
    seeds = range(seed, seed + runs)
    arms = report.figures(simulate_all(seeds, flow_path=path))
    if as_json:
        _print_json({"simulation": report.NOTE, "seed": seed, "runs": runs, "arms": arms})
    else:
        report.show(arms, seeds, console)
    if arms["flow"]["failures"]:
        raise typer.Exit(1)


def _readable(flow: Path) -> None:
    from prompter.flow.reading import load_flow

    try:
        load_flow(flow)
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(2) from None


def _trace(seeds: range, path: str) -> None:
    from prompter.practise.world.report import NOTE
    from prompter.practise.world.run import one

    console = Console(soft_wrap=True, highlight=False)
    console.print(Text(NOTE, style="bold"))
    failed = False
    for seed in seeds:
        console.print(Text(f"Seed {seed}", style="bold"))
        outcome = one(seed, note=lambda ms, who, what: console.print(Text(f"{ms / 1000:7.1f}  {who:<13}{what}")), flow_path=path)
        wrong = ", ".join(f"{count} {sort}" for sort, count in outcome.wrong.items() if count) or "none"
        console.print(Text(
            f"Wrong: {outcome.cause}. End: {outcome.end}. Lowest saturation {outcome.lowest:.0f}%, {outcome.without_s:.0f} s without "
            f"effective breaths. Wrong branches: {wrong}."
        ))  # fmt: skip
        for what in outcome.failures:
            console.print(Text(f"FAILED: {what}", style="red"))
        failed = failed or bool(outcome.failures)
    if failed:
        raise typer.Exit(1)


def _sensitivity(seeds: range, as_json: bool, console: Console) -> None:
    from prompter.practise.world.report import NOTE
    from prompter.practise.world.sensitivity import sensitivity, show_sensitivity

    records = sensitivity(seeds)
    if as_json:
        _print_json({"simulation": NOTE, "seed": seeds.start, "runs": len(seeds), "sensitivity": records})
        return
    console.print(Text(NOTE, style="bold"))
    show_sensitivity(records, len(seeds), console)


def _print_json(record: dict[str, Any]) -> None:
    typer.echo(json.dumps(record, ensure_ascii=False))
