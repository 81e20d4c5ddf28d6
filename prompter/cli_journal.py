"""The commands about journals: `prompter journal verify`."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from prompter.errors import CannotDo
from prompter.journal import Reading, read_sound

app = typer.Typer(help="Check the record of an emergency.", no_args_is_help=True)


@app.callback()
def journal() -> None:
    """Check the record of an emergency."""


@app.command()
def verify(
    file: Annotated[Path, typer.Argument(help="the journal")],
    json_: Annotated[bool, typer.Option("--json", help="print one JSON object")] = False,
) -> None:
    """Check that a journal is whole.

    Exit code 0: it is; 1: it is damaged after its first line; 2: it cannot be read.
    The check shows accidents and careless edits, not forgery by somebody who rewrites the whole file.
    """
    try:
        reading = read_sound(file)
    except CannotDo as error:
        print(error.one_line(), file=sys.stderr)
        raise typer.Exit(2) from None
    if json_:
        print(json.dumps(verdict(reading)))
    else:
        closed = (
            "closed" if reading.closed else "not closed: the program or its power may have stopped"
        )
        state = "as written" if reading.intact else f"then damage: {reading.problem}"
        print(f"{file}: {len(reading.events)} events, {state}; {closed}.")
    raise typer.Exit(0 if reading.intact else 1)


@app.command()
def replay(
    file: Annotated[Path, typer.Argument(help="the journal")],
    json_: Annotated[bool, typer.Option("--json", help="print one JSON object")] = False,
) -> None:
    """Walk a journal's events through this version: exit code 0 if it says the same, 1 if not."""
    from prompter.replay import replay as walk

    result = walk(read_sound(file).events, str(file))
    if json_:
        print(
            json.dumps(
                {
                    "same": result.same,
                    "cues": result.cues,
                    "first_difference": result.first_difference,
                },
                ensure_ascii=False,
            )
        )
    elif result.first_difference is None:
        print(f"{file}: the same {result.cues} cues, byte for byte.")
    else:
        first = result.first_difference
        print(f"{file}: the same for {result.cues} cues, then line {first['seq']} differs.")
        print(f"  written: {json.dumps(first['written'], ensure_ascii=False)}")
        print(f"  now:     {json.dumps(first['now'], ensure_ascii=False)}")
    raise typer.Exit(0 if result.same else 1)


def verdict(reading: Reading) -> dict[str, object]:
    """The JSON form of a check. `events`: those before the first damage."""
    return {
        "events": len(reading.events),
        "intact": reading.intact,
        "first_bad": reading.first_bad,
        "closed": reading.closed,
        "torn_tail": reading.torn_tail,
        "problem": reading.problem,
    }
