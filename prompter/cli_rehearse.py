"""`prompter rehearse`: a whole emergency with a simulated caregiver's voice, faster than life."""

import json
import sys
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table as RichTable

from prompter.errors import CannotDo

FIRST = "suction-clears-it"


def rehearse_command(
    scripts: Annotated[list[str] | None, typer.Argument(help="Names of rehearsals, or script files.")] = None,
    all_: Annotated[bool, typer.Option("--all", help="All rehearsals that come with the program.")] = False,
    list_: Annotated[bool, typer.Option("--list", help="Name the rehearsals and stop.")] = False,
    plan: Annotated[Path | None, typer.Option(help="Another care plan than the script's.")] = None,
    seed: Annotated[int, typer.Option(help="Draws wording, voice, rate, delay, noise.")] = 0,
    noise: Annotated[str | None, typer.Option(help="Room noise: a kind, or a folder of sound files.")] = None,
    snr: Annotated[float | None, typer.Option(help="Speech above noise, dB.")] = None,
    echo: Annotated[float | None, typer.Option(help="The microphone hears the prompter: its speech against the caregiver's, dB.")] = None,
    over: Annotated[float, typer.Option(help="Share of answers given while the prompter still asks, 0 to 1.")] = 0.0,
    voice: Annotated[str | None, typer.Option(help="The caregiver's voice, such as en-gb+f3.")] = None,
    compute: Annotated[str, typer.Option(help="Computing time: 'measured', or fixed milliseconds.")] = "measured",
    out: Annotated[Path, typer.Option(help="Folder for journals, sound and accounts.")] = Path("rehearsals"),
    json_: Annotated[bool, typer.Option("--json", help="One JSON object on standard output.")] = False,
) -> None:
    """Rehearse a whole emergency: a simulated caregiver talks with the prompter.

    The caregiver's synthetic voice is laid into room noise and goes through the same ears, flow and
    voice as in an emergency. Leaves a folder with the account as a page, the sound, and the journal.
    """
    from prompter.practise.batch import Request, run_batch

    if list_:
        _list_scripts()
        return
    request = Request(
        scripts=scripts or [], all_scripts=all_, plan=plan, seed=seed, noise=noise, snr_db=snr,
        voice=voice, compute_ms=_compute(compute), echo_db=_echo(echo), over_share=_share(over), out=out,
    )  # fmt: skip
    if not scripts and not all_:
        request.scripts = [FIRST]
    console = Console(file=sys.stderr if json_ else sys.stdout, highlight=False)
    result = run_batch(request, console, quiet=json_, now=datetime.now().astimezone())
    if json_:
        print(json.dumps(result, ensure_ascii=False))
    elif len(result["rehearsals"]) > 1:
        _print_table(console, result)
    if not all(rehearsal["as_expected"] for rehearsal in result["rehearsals"]):
        raise typer.Exit(1)


def _compute(text: str) -> int | None:
    if text == "measured":
        return None
    if text.isdigit() and int(text) <= 60_000:
        return int(text)
    raise CannotDo(f"'{text}' is no computing time.", "--compute", "Give 'measured' or milliseconds, such as 150.")


def _echo(db: float | None) -> float | None:
    if db is None or -60 <= db <= 30:
        return db
    raise CannotDo(f"{db:g} dB is no echo.", "--echo", "Give -60 to 30; at 0 the microphone hears both alike.")


def _share(value: float) -> float:
    if 0 <= value <= 1:
        return value
    raise CannotDo(f"{value:g} is no share.", "--over", "Give 0 to 1.")


def _list_scripts() -> None:
    from prompter.practise.script import load_script, scripts

    console = Console(highlight=False)
    for path in scripts():
        script = load_script(path)
        console.print(f"{script.script:<28} {script.title}", soft_wrap=True)


def _print_table(console: Console, result: dict[str, Any]) -> None:
    table = RichTable("rehearsal", "as expected", "outcome", "believed", "asked again", "assumed", "wrong", "seconds")
    for one in result["rehearsals"]:
        answers = [a for a in one["answers"] if a["answer"]]
        table.add_row(
            one["script"], "yes" if one["as_expected"] else "NO", one["outcome"],
            f"{sum(a['believed'] for a in answers)}/{len(answers)}", str(one["asked_again"]), str(one["assumed"]),
            str(one["wrong_branches"]), f"{one['simulated_s']:.0f} in {one['wall_s']:.0f}",
        )  # fmt: skip
    console.print(table)
    reply = result["reply_ms"]
    console.print(f"reply: p50 {reply['p50']} ms, p95 {reply['p95']} ms, n {reply['n']}")
