"""The commands. Each is imported only when it is called: in an emergency the start must not wait."""

import importlib
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from prompter import __version__
from prompter.errors import Bug, CannotDo

# name: module, attribute, one line for the overview
COMMANDS: dict[str, tuple[str, str, str]] = {
    "respond": ("prompter.cli_respond", "respond_command", "An emergency: guide the caregiver by voice, live."),
    "standby": ("prompter.cli_standby", "standby_command", "Wait for a start phrase, a key or a pedal; then respond."),
    "rehearse": ("prompter.cli_rehearse", "rehearse_command", "A whole emergency with a simulated caregiver's voice."),
    "ready": ("prompter.cli_ready", "ready_command", "Check in calm that everything would work."),
    "plan": ("prompter.cli_plan", "app", "The patient's care plan: make, check, show."),
    "flow": ("prompter.cli_flow", "app", "The protocols: read, check."),
    "ears": ("prompter.cli_ears", "app", "The recognisers: which are ready, what they hear."),
    "journal": ("prompter.cli_journal", "app", "Journals: verify, replay, repair."),
    "review": ("prompter.cli_review", "review_command", "The account of an emergency, for the clinician."),
}


_UsageError, _ClickException = typer.BadParameter.__mro__[1:3]
"""typer brings its own copies of click's errors, or click's: these are the ones it raises."""


class Commands(TyperGroup):
    """Loads a command's module when the command is named."""

    def list_commands(self, ctx: Any) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        if cmd_name not in COMMANDS:
            return None
        module, attribute, _ = COMMANDS[cmd_name]
        found = getattr(importlib.import_module(module), attribute)
        if isinstance(found, typer.Typer):
            return typer.main.get_command(found)
        single = typer.Typer(add_completion=False, rich_markup_mode=None)
        single.command(name=cmd_name)(found)
        return typer.main.get_command(single)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """The overview names the commands without importing them."""
        print(f"{_OVERVIEW}\n\nUsage: prompter COMMAND [ARGS]...   (prompter COMMAND --help tells more)\n")
        for name, (_, _, line) in COMMANDS.items():
            print(f"  {name:<10} {line}")


_OVERVIEW = """\
A voice that takes a caregiver through a breathing emergency at a home tracheostomy.

Not a medical device. It does not replace training, the care plan or the emergency number."""

app = typer.Typer(cls=Commands, add_completion=False, no_args_is_help=True, rich_markup_mode=None)


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"prompter {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Show the version.")] = False,
) -> None:
    """A voice that takes a caregiver through a breathing emergency."""


def main(arguments: list[str] | None = None) -> None:
    """Entry point. Bad input ends with one clear line on standard error and exit code 2."""
    code: Any = 0
    try:
        code = typer.main.get_command(app).main(arguments, prog_name="prompter", standalone_mode=False)
    except (CannotDo, Bug) as error:
        print(error.one_line() if isinstance(error, CannotDo) else f"prompter: {error}", file=sys.stderr)
        code = 2
    except typer.Exit as leaving:
        code = leaving.exit_code
    except _ClickException as error:
        message = " ".join(error.format_message().split())
        if message:  # without arguments the help itself has been printed
            print(f"prompter: {message} Mend: see the command's --help.", file=sys.stderr)
        code = 2
    except (typer.Abort, KeyboardInterrupt):
        print("Stopped.", file=sys.stderr)
        code = 130
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
