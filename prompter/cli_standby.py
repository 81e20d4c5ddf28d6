"""The command `prompter standby`: waits for hours, and answers within a second."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer


def standby_command(
    plan: Annotated[
        Path | None,
        typer.Option("--plan", help="The care plan; without it, the one of `prompter plan new`."),
    ] = None,
    keys_only: Annotated[
        bool, typer.Option("--keys-only", help="Do not listen; start by key or pedal, answer by keys.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the records into this folder.")
    ] = None,
    microphone: Annotated[
        str | None, typer.Option("--microphone", help="Part of its name, or its number.")
    ] = None,
    loudspeaker: Annotated[
        str | None, typer.Option("--loudspeaker", help="Part of its name, or its number.")
    ] = None,
    pedal: Annotated[
        str | None,
        typer.Option("--pedal", help="A pedal's file below /dev/input/by-id, where there is no terminal."),
    ] = None,
    self_test_hour: Annotated[
        int, typer.Option("--self-test", min=0, max=23, help="Hour of the self-test that speaks only of faults.")
    ] = 9,
    write_unit: Annotated[
        bool, typer.Option("--write-unit", help="Write a systemd user unit with these options; enable nothing.")
    ] = False,
) -> None:
    """Wait until somebody says "Breathing trouble, breathing trouble" or presses a key.

    Then it is `prompter respond`, and afterwards it waits again. It listens for this one phrase,
    keeps nothing of what it hears, and watches nobody: it is no monitor and no alarm.
    """
    if write_unit:
        from prompter.standby.service import write_unit as write

        typer.echo(write(_words(plan, keys_only, out, microphone, loudspeaker, pedal, self_test_hour)))
        return
    from prompter.cli_respond import device
    from prompter.standby.standby import standby

    code = standby(plan, keys_only, out, device(microphone), device(loudspeaker), pedal, self_test_hour)
    sys.stdout.flush()
    os._exit(code)  # threads of drivers are left as they are: see `prompter respond`


def _words(
    plan: Path | None, keys_only: bool, out: Path | None, microphone: str | None,
    loudspeaker: str | None, pedal: str | None, self_test_hour: int,
) -> list[str]:  # fmt: skip
    """The same options, for the unit; files by their full path."""
    words = ["--self-test", str(self_test_hour)]
    for name, path in (("--plan", plan), ("--out", out), ("--pedal", Path(pedal) if pedal else None)):
        words += [name, str(path.absolute())] if path else []
    for name, value in (("--microphone", microphone), ("--loudspeaker", loudspeaker)):
        words += [name, value] if value else []
    return words + (["--keys-only"] if keys_only else [])
