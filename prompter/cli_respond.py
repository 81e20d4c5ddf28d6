"""The command `prompter respond`: a live emergency."""

from pathlib import Path
from typing import Annotated

import typer


def respond_command(
    plan: Annotated[
        Path | None,
        typer.Option("--plan", help="The care plan; without it, the one of `prompter plan new`."),
    ] = None,
    keys_only: Annotated[
        bool, typer.Option("--keys-only", help="Do not listen; answer with keys or a foot pedal.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the record into this folder.")
    ] = None,
    microphone: Annotated[
        str | None, typer.Option("--microphone", help="Part of its name, or its number.")
    ] = None,
    loudspeaker: Annotated[
        str | None, typer.Option("--loudspeaker", help="Part of its name, or its number.")
    ] = None,
) -> None:
    """Speak somebody through a breathing emergency, now.

    It begins at once, whatever is missing: without a plan it says no numbers, without a microphone
    it takes keys, without a loudspeaker it shows what to do. Ctrl-C twice closes it.
    """
    # Only now: the command line itself must be there at once.
    from prompter.live.emergency import respond

    raise typer.Exit(respond(plan, keys_only, out, _device(microphone), _device(loudspeaker)))


def _device(name: str | None) -> str | int | None:
    return int(name) if name is not None and name.isdecimal() else name
