"""The command `prompter ready`: the self-test, in calm."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer


def ready_command(
    plan: Annotated[
        Path | None,
        typer.Option("--plan", help="The care plan; without it, the one of `prompter plan new`."),
    ] = None,
    microphone: Annotated[
        str | None, typer.Option("--microphone", help="Part of its name, or its number.")
    ] = None,
    loudspeaker: Annotated[
        str | None, typer.Option("--loudspeaker", help="Part of its name, or its number.")
    ] = None,
    level: Annotated[
        bool, typer.Option("--level", help="Also speak at the plan's quietest and loudest, and measure both.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    quiet: Annotated[
        bool, typer.Option("--quiet", help="Play nothing and listen to nothing: look only whether there is a loudspeaker.")
    ] = False,
) -> None:
    """Check in calm that everything would work, and what must lie in the bag.

    A tone is played and a phrase spoken: do it where the prompter will stand. Exit code 0: all is
    ready. 1: something is not. 2: it cannot be carried out.
    """
    from prompter.cli_respond import device
    from prompter.errors import CannotDo
    from prompter.ready.self_test import SelfTest, report, somebody_is_there, verdict

    ask = (lambda text: typer.echo(text, err=True)) if not as_json and somebody_is_there() else None
    test = SelfTest(plan, device(microphone), device(loudspeaker), ask, _progress(), quiet, level)
    checks = []
    try:
        for check in test.checks():
            checks.append(check)
            if not as_json:
                typer.echo(check.line())
                for doubt in check.doubts:
                    typer.echo(f"    doubt: {doubt}")
    except (CannotDo, FileNotFoundError) as error:
        typer.echo(error.one_line() if isinstance(error, CannotDo) else str(error), err=True)
        raise typer.Exit(2) from None
    bag = test.supplies()
    if as_json:
        typer.echo(json.dumps(report(checks, bag), ensure_ascii=False))
    else:
        if bag:
            typer.echo("To check by hand, in the bag:")
            for supply in bag:
                typer.echo(f"    [ ] {supply.name}" + (f": {supply.detail}" if supply.detail else ""))
        typer.echo("All is ready." if verdict(checks) else "Something is not ready: see above.")
    raise typer.Exit(0 if verdict(checks) else 1)


def _progress() -> Callable[[int, int], None]:
    """A line on standard error that counts, where somebody sees it."""
    if sys.stderr is None or not sys.stderr.isatty():
        return lambda done, all_: None

    def show(done: int, all_: int) -> None:
        width = 30
        bar = "#" * (width * done // all_)
        print(f"\rspoken prompts [{bar:<{width}}] {done}/{all_}", end="", file=sys.stderr, flush=True)
        if done == all_:
            print("\r" + " " * (width + 40) + "\r", end="", file=sys.stderr, flush=True)

    return show
