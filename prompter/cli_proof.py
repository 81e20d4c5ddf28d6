"""The commands that prove a flow: `prompter flow check`, `replay` and `mutants`."""

import json
import re
import time
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from prompter.errors import CannotDo
from prompter.flow.reading import load_flow
from prompter.proof import clinical, traces
from prompter.proof.check import Checked, Result, check
from prompter.proof.trying import CAUGHT, HARMLESS, REFUSED, SURVIVES, Tally, try_all
from prompter.resources import named_flow

FAILS, CANNOT = 1, 2
USUAL = "breathing-trouble"
ENOUGH = 0.95
"""Part of the mutants that do harm which the check must notice."""
TRACES = Path("traces")


def check_flows(
    flows: Annotated[list[str] | None, typer.Argument(help="Flows by name or file; without: breathing-trouble, from the start of every flow it switches to as well.")] = None,
    out: Annotated[Path, typer.Option("--out", help="Folder for the traces of what fails.")] = TRACES,
    late: Annotated[bool, typer.Option("--late/--no-late", help="Tell apart for how long breaths have been missing: takes half as long again.")] = True,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on standard output.")] = False,
) -> None:
    """Walk every state of a flow for every plan, and tell whether what must hold does. Exit code 1 if something fails."""
    console, body, holds = Console(soft_wrap=True), [], True
    for name in flows or [USUAL]:
        try:
            checked = check(load_flow(named_flow(name)), late)
            files = {r.prop.name: _write(r, name, checked.flow, out) for r in checked.results if r.failed and r.path}
        except CannotDo as error:
            typer.echo(error.one_line(), err=True)
            raise typer.Exit(CANNOT) from None
        except OSError as error:
            typer.echo(CannotDo(f"the traces cannot be written: {error.strerror}.", str(out), "Name another folder with --out.").one_line(), err=True)
            raise typer.Exit(CANNOT) from None
        holds &= checked.holds
        body.append(_as_json(checked, files))
        if not as_json:
            _print(checked, files, console)
    if as_json:
        typer.echo(json.dumps({"seconds": round(sum(b["seconds"] for b in body), 2), "flows": body}, ensure_ascii=False))
    if not holds:
        raise typer.Exit(FAILS)


def replay_trace(file: Annotated[Path, typer.Argument(help="A trace that `prompter flow check` has written.")]) -> None:
    """Walk a trace again, on the machine as it runs in an emergency. Exit code 1 if its property fails again."""
    try:
        trace = traces.read(file)
        told, failed = traces.replay(trace, load_flow(named_flow(trace.flow)))
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(CANNOT) from None
    console = Console(soft_wrap=True)
    console.print(f"[bold]{escape(trace.name)}[/bold]: {escape(trace.detail)}")
    console.print(f"Plan: {trace.age}, {'with a helper' if trace.helper else 'alone'}; {', '.join(sorted(trace.facts))}")
    for line in told:
        console.print(escape(line), highlight=False)
    if trace.name in failed:
        console.print(f"Fails again: {escape(failed[trace.name])}")
        raise typer.Exit(FAILS)
    console.print("It holds now.")


def mutate(
    flow: Annotated[str, typer.Argument(help="A flow by name or file.")] = USUAL,
    every: Annotated[int, typer.Option(min=1, help="Only every n-th mutant.")] = 1,
    kept: Annotated[Path | None, typer.Option("--keep", help="A file of outcomes: a later run with it goes on where this one ended.")] = None,
    walks_alone: Annotated[bool, typer.Option("--walks-alone", help="Without what is written down a second time: what the properties notice by themselves.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on standard output.")] = False,
) -> None:
    """Put one fault at a time into a flow, and tell which of them the check does not notice. Exit code 1 below 95 %."""
    errors = Console(stderr=True)
    try:
        began, whole = time.perf_counter(), load_flow(named_flow(flow))
        with errors.status("Mutants") as status:
            tally = try_all(whole, every, kept, lambda done, of: status.update(f"Mutants: {done} of {of}"), not walks_alone)
    except CannotDo as error:
        typer.echo(error.one_line(), err=True)
        raise typer.Exit(CANNOT) from None
    except OSError as error:
        typer.echo(CannotDo(f"the outcomes cannot be kept: {error.strerror}.", str(kept), "Name another file with --keep.").one_line(), err=True)
        raise typer.Exit(CANNOT) from None
    tally.seconds = time.perf_counter() - began
    if as_json:
        typer.echo(json.dumps({
            "mutants": len(tally.tried), "of": tally.of, "caught": len(tally.those(CAUGHT)), "refused": len(tally.those(REFUSED)), "share": round(tally.share, 4),
            "harmless": [t.what for t in tally.those(HARMLESS)], "survivors": [t.what for t in tally.those(SURVIVES)], "by": tally.by(), "seconds": round(tally.seconds, 1),
        }, ensure_ascii=False))  # fmt: skip
    else:
        _print_mutants(tally)
    if tally.share < ENOUGH:
        raise typer.Exit(FAILS)


def _print_mutants(tally: Tally) -> None:
    console = Console(soft_wrap=True)
    caught, refused = len(tally.those(CAUGHT)), len(tally.those(REFUSED))
    console.print(
        f"{len(tally.tried):,} mutants of {tally.of:,}: {caught + refused} noticed = {tally.share:.1%} of those that change anything ({refused} refused as a file); "
        f"{len(tally.those(HARMLESS))} harmless (every cue of the whole walk is the same), {len(tally.those(SURVIVES))} survive; {tally.seconds:.0f} s.", highlight=False,
    )  # fmt: skip
    for name, count in sorted(tally.by().items(), key=lambda item: -item[1]):
        console.print(f"{count:6}  {escape(name)}", highlight=False)
    for one in (*tally.those(SURVIVES), *tally.those(HARMLESS)):
        console.print(f"{one.outcome}: {escape(one.what)}", highlight=False)


def _write(result: Result, name: str, flow: str, out: Path) -> str:
    assert result.path is not None and result.failed is not None
    file = out / f"{flow}-{re.sub(r'[^a-z0-9]+', '-', result.prop.name.lower()).strip('-')}.json"
    file_given = named_flow(name) == Path(name)
    source = str(Path(name).resolve()) if file_given else name
    traces.write(traces.trace_of(source, result.prop.name, result.failed, result.path), file)
    return str(file)


def _as_json(checked: Checked, files: dict[str, str]) -> dict[str, object]:
    return {
        "flow": checked.flow, "variants": checked.variants, "left_out": checked.left_out, "plans_told_apart": checked.plans,
        "states": checked.states, "moves": checked.moves, "seconds": round(checked.seconds, 2), "megabytes": checked.megabytes,
        "properties": [
            {"name": r.prop.name, "holds": r.failed is None, "limit": r.prop.limit, "worst": r.worst, "trace": files.get(r.prop.name),
             "looked_at": r.looked, "detail": r.failed, "unit": r.prop.unit, "reason": r.prop.reason, "source": r.prop.source}
            for r in checked.results
        ],
    }  # fmt: skip


def _print(checked: Checked, files: dict[str, str], console: Console) -> None:
    console.print(f"[bold]{escape(checked.flow)}[/bold]")
    console.print(
        f"{checked.variants:,} variants ({checked.left_out:,} impossible left out); walked apart where a step tells them apart "
        f"({checked.plans} ways, {checked.silent_plans} in silence); {checked.states:,} states, {checked.moves:,} moves, "
        f"{checked.depth} deep; {checked.seconds:.1f} s, {checked.megabytes} MB.", highlight=False,
    )  # fmt: skip
    console.print(BOUNDS, highlight=False)
    table = Table(box=None, pad_edge=False)
    for column, justify in (("", "left"), ("property", "left"), ("limit", "right"), ("worst", "right"), ("looked at", "right")):
        table.add_column(column, justify=justify)  # type: ignore[arg-type]
    for result in checked.results:
        prop = result.prop
        limit = "" if prop.limit is None else f"{prop.limit:g} {prop.unit}"
        worst = "" if result.worst is None else f"{result.worst:.3g}"
        held = "holds" if result.looked else "not met"
        table.add_row("[red]fails[/red]" if result.failed else held, escape(prop.name), limit, worst, f"{result.looked:,}")
    console.print(table)
    for result in checked.results:
        if result.failed:
            console.print(f"[red]fails[/red] {escape(result.prop.name)}: {escape(result.failed)}", highlight=False)
            console.print(f"      because: {escape(result.prop.reason)} ({escape(result.prop.source)})", highlight=False)
            if result.prop in clinical.PROPERTIES:
                console.print("      if it is meant: it is written down twice, and changes in prompter/proof/clinical.yaml as well.", highlight=False)
            if result.path:
                steps = " · ".join("silence" if isinstance(e, int) else traces._said(e) for e in result.path.events)
                console.print(f"      shortest way: {escape(steps)}", highlight=False)
                console.print(f"      prompter flow replay {escape(files[result.prop.name])}", highlight=False)


BOUNDS = (
    "Bounded: a state is step, moment, tube, breathing and what is being done; everything else a row asks for is met at every step, not in "
    "every combination. One 'that was wrong' at a time; interruptions two deep; words that only speak at every step and moment. For how long "
    "breaths have been missing is told apart (but for --no-late): from 12 s on, in steps of 8 s, a state met later than before is walked again."
)
