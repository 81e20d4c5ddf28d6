"""What each assumption is worth: every parameter at both ends of its range, one at a time, same seeds."""

from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from prompter.practise.world.outcome import BAD, Outcome
from prompter.practise.world.parameters import Parameter, the_parameters
from prompter.practise.world.run import CARD, FLOW, many, works_for

RUNS = 200
"""Seeds for each end of each parameter, unless asked otherwise."""


def sensitivity(seeds: range, processes: int | None = None) -> list[dict[str, Any]]:
    """One record a parameter, the one that moves most first. The card's own are tried on the card."""
    parameters = list(the_parameters().each.values())
    cases: list[tuple[Parameter | None, str, float]] = [(None, FLOW, 0.0), (None, CARD, 0.0)]
    for parameter in parameters:
        arm = CARD if parameter.name.startswith("card.") else FLOW
        cases += [(parameter, arm, parameter.low), (parameter, arm, parameter.high)]
    works, owners = [], []
    for number, (parameter, arm, value) in enumerate(cases):
        changed = {} if parameter is None else {parameter.name: value}
        for work in works_for(seeds, arm, changed=changed):
            works.append(work)
            owners.append(number)
    # Kind by kind, so that each process lays out a flow seldom.
    order = sorted(range(len(works)), key=lambda i: (works[i].arm, works[i].kind))
    found: list[list[Outcome]] = [[] for _ in cases]
    for i, outcomes in zip(order, many([works[i] for i in order], processes), strict=True):
        found[owners[i]] += outcomes
    usual = {FLOW: _figures(found[0]), CARD: _figures(found[1])}
    records = []
    for number in range(2, len(cases), 2):
        parameter, arm, _ = cases[number]
        low, high = _figures(found[number]), _figures(found[number + 1])
        records.append(_record(parameter, arm, low, high, usual[arm]))
    return sorted(records, key=lambda r: (-abs(r["high"]["below_60"] - r["low"]["below_60"]), r["parameter"]))


def _figures(found: list[Outcome]) -> dict[str, float]:
    without = sorted(o.without_s for o in found)
    return {
        "below_60": sum(o.lowest < BAD for o in found) / len(found), "without_s": without[len(without) // 2],
        "failures": sum(bool(o.failures) for o in found),
    }  # fmt: skip


def _record(parameter: Parameter | None, arm: str, low: dict[str, float], high: dict[str, float], usual: dict[str, float]) -> dict[str, Any]:
    if parameter is None:
        return {}
    return {
        "parameter": parameter.name, "arm": arm, "value": parameter.value, "range": [parameter.low, parameter.high],
        "usual": usual, "low": low, "high": high, "source": parameter.source,
    }  # fmt: skip


def show_sensitivity(records: list[dict[str, Any]], runs: int, console: Console) -> None:
    table = Table(title=f"Each parameter at both ends of its range, {runs} emergencies each (no intervals: look at the large ones)",
                  title_justify="left", title_style="bold", box=SIMPLE_HEAD, pad_edge=False)  # fmt: skip
    for column in ("parameter", "low … high (used)", "below 60%: low … high (used)", "s without breaths, median", "failed runs"):
        table.add_column(column, justify="left" if column == "parameter" else "right", no_wrap=column == "parameter")
    for r in records:
        low, high, usual = r["low"], r["high"], r["usual"]
        table.add_row(
            r["parameter"] + (" (card)" if r["arm"] == CARD else ""), f"{r['range'][0]:g} … {r['range'][1]:g} ({r['value']:g})",
            f"{100 * low['below_60']:.0f}% … {100 * high['below_60']:.0f}% ({100 * usual['below_60']:.0f}%)",
            f"{low['without_s']:.0f} … {high['without_s']:.0f} ({usual['without_s']:.0f})", f"{low['failures']:.0f}, {high['failures']:.0f}",
        )  # fmt: skip
    console.print(table)
