"""The commands about journals: `prompter journal verify`, `replay`, `repair`."""

import json
import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from prompter import __version__
from prompter.care import place
from prompter.errors import CannotDo
from prompter.journal import Reading, Sounds, check_sounds, keys, read_sound

app = typer.Typer(help="Check the record of an emergency.", no_args_is_help=True)


@app.callback()
def journal(
    key: Annotated[
        Path | None, typer.Option("--key", help="the family's private key, for encrypted journals")
    ] = None,
) -> None:
    """Check the record of an emergency."""
    keys.look_for_keys_in(place.key_folder())
    if key is not None:
        os.environ[keys.KEY_VARIABLE] = str(key)


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
    sounds = check_sounds(file, reading.events)
    if json_:
        print(json.dumps(verdict(reading, sounds)))
    else:
        closed = (
            "closed" if reading.closed else "not closed: the program or its power may have stopped"
        )
        state = "as written" if reading.intact else f"then damage: {reading.problem}"
        print(f"{file}: {len(reading.events)} events, {state}; {closed}.")
        if sounds.there or sounds.deleted or sounds.changed:
            changed = f"; CHANGED: {', '.join(sounds.changed)}" if sounds.changed else ""
            print(f"  sound: {sounds.there} as heard, {sounds.deleted} deleted or never written{changed}.")
    raise typer.Exit(0 if reading.intact and not sounds.changed else 1)


@app.command()
def replay(
    file: Annotated[Path, typer.Argument(help="the journal")],
    flow: Annotated[
        Path | None, typer.Option("--flow", help="another protocol than the one it was begun with")
    ] = None,
    json_: Annotated[bool, typer.Option("--json", help="print one JSON object")] = False,
) -> None:
    """Walk a journal's events through this version: exit code 0 if it says the same, 1 if not.

    A damaged journal is walked up to the damage.
    """
    from prompter.replay import replay as walk

    events = read_sound(file).events
    result = walk(events, str(file), _text_of(flow) if flow else None)
    written_by = str(events[0].get("version", "unknown"))
    if json_:
        print(
            json.dumps(
                {
                    "same": result.same,
                    "cues": result.cues,
                    "first_difference": result.first_difference,
                    "written_by": written_by,
                    "walked_by": __version__,
                },
                ensure_ascii=False,
            )
        )
    elif result.first_difference is None:
        print(f"{file}: the same {result.cues} cues, byte for byte.")
    else:
        first = result.first_difference
        print(f"{file}: the same for {result.cues} cues, then line {first['seq']} differs.")
        print(f"  written by version {written_by}, walked by {__version__}{f' with {flow}' if flow else ''}")
        print(f"  written: {json.dumps(first['written'], ensure_ascii=False)}")
        print(f"  now:     {json.dumps(first['now'], ensure_ascii=False)}")
    raise typer.Exit(0 if result.same else 1)


@app.command()
def repair(
    file: Annotated[Path, typer.Argument(help="the damaged journal; it is left as it is")],
    out: Annotated[
        Path | None, typer.Option("--out", help="the new journal; else NAME.repaired.jsonl beside it")
    ] = None,
    json_: Annotated[bool, typer.Option("--json", help="print one JSON object")] = False,
) -> None:
    """Copy what is sound of a damaged journal to a new one.

    Exit code 0: it is written; 2: there is nothing to repair, or nothing sound.
    """
    from prompter.journal import repair as mend

    done = mend(file, out or file.with_name(f"{file.stem}.repaired.jsonl"))
    if json_:
        fields = {"kept": done.kept, "salvaged": done.salvaged, "lost": done.lost}
        print(json.dumps({"out": str(done.path), **fields, "problem": done.problem}))
        return
    print(f"{done.path}: {done.kept} events as they were; damage there: {done.problem}.")
    print(f"  from behind it: {done.salvaged} whole lines; {done.lost} events are lost.")


key_app = typer.Typer(help="The family's key, for encrypted journals.", no_args_is_help=True)
app.add_typer(key_app, name="key")


@key_app.callback()
def key() -> None:
    """The family's key, for encrypted journals."""


@key_app.command("new")
def key_new(
    out: Annotated[
        Path | None, typer.Option("--out", help="where the private key goes: a stick, say")
    ] = None,
    passphrase: Annotated[
        bool, typer.Option("--passphrase", help="protect the private key; asks for the words")
    ] = False,
) -> None:
    """Make a key: from now on, journals are encrypted, and only the private key opens them.

    Keep the private key away from this machine, and a copy of it: without it no journal can be
    read, by nobody. An emergency never needs it.
    """
    folder = place.key_folder()
    private = out or folder / keys.PRIVATE
    for path in (private, folder / keys.PUBLIC):
        if path.exists():
            raise CannotDo("is there already.", str(path), "Keep the old pair for older journals, and move it away.")
    words = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True) if passphrase else None
    public, secret = keys.new_key(words)
    place.write_private(private, secret)
    place.write_private(folder / keys.PUBLIC, f"{public}\n".encode())
    print(f"Journals are encrypted from now on, for {folder / keys.PUBLIC}")
    print(f"The private key: {private}")
    print("Move it to another place than this machine, and keep a copy: nothing else opens the journals.")


def _text_of(flow: Path) -> str:
    try:
        return flow.read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        raise CannotDo(f"cannot be read: {error}.", str(flow), "Give a protocol's file.") from None


def verdict(reading: Reading, sounds: Sounds) -> dict[str, object]:
    """The JSON form of a check. `events`: those before the first damage."""
    return {
        "events": len(reading.events),
        "intact": reading.intact,
        "first_bad": reading.first_bad,
        "closed": reading.closed,
        "torn_tail": reading.torn_tail,
        "missing": reading.missing,
        "problem": reading.problem,
        "sounds": {"there": sounds.there, "deleted": sounds.deleted, "changed": sounds.changed},
    }
