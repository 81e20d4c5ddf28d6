"""The command `prompter respond`: a live emergency."""

import contextlib
import gc
import os
import sys
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
    new: Annotated[
        bool, typer.Option("--new", help="Begin anew, even if an emergency was just interrupted.")
    ] = False,
) -> None:
    """Speak somebody through a breathing emergency, now.

    It begins at once, whatever is missing: without a plan it says no numbers, without a microphone
    it takes keys, without a loudspeaker it shows what to do. Ctrl-C twice closes it. After a power
    loss or a crash, the same command goes on where it was.
    """
    # Only now: the command line itself must be there at once. What is loaded from here on stays:
    # looking for garbage in it meanwhile costs a fifth of the time to the first word.
    gc.disable()
    from prompter.live.emergency import respond

    code = respond(plan, keys_only, out, device(microphone), device(loudspeaker), new)
    # Everything is closed. What may still run is a thread inside a recogniser or a driver, and the
    # interpreter's own way out would tear it down in the middle and abort.
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(code)


def device(name: str | None) -> str | int | None:
    """A device as sounddevice takes it: its number, or part of its name."""
    return int(name) if name is not None and name.isdecimal() else name
