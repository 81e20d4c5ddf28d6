"""What many runs showed, in figures that say how sure they are, and in lines for people."""

from collections.abc import Callable
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from prompter.practise.world.outcome import BAD, WORST, Outcome
from prompter.practise.world.run import ANSWERS_ONLY, CARD, FLOW
from prompter.practise.world.statistics import Estimate, quantile, share

NOTE = "This is a simulation: it proves nothing about patients. What it assumes stands in shared/world/parameters.yaml."
LIMITS = (
    "The simulated caregiver who is guided does only what is said and nothing from memory; the one with the card misses steps "
    "at the rate of trained teams. Both are simplifications, and the columns are no ranking of what to use."
)
TITLES = {FLOW: "the flow", ANSWERS_ONLY: "only answers move it", CARD: "card from memory"}
FAILURES_SHOWN = 20

TIMES: dict[str, tuple[str, Callable[[Outcome], float | None]]] = {
    "first_breath_s": ("first squeeze given", lambda o: o.first_breath_s),
    "first_effective_s": ("first squeeze that reached the lungs", lambda o: o.first_effective_s),
    "asked_s": ("call asked for by the prompter", lambda o: o.asked_s),
    "call_s": ("operator on the line", lambda o: o.call_s),
    "changed_s": ("new tube in the windpipe", lambda o: o.changed_s),
    "without_s": ("seconds without effective breaths", lambda o: o.without_s),
    "lowest_percent": ("lowest saturation, percent", lambda o: o.lowest),
}


def figures(outcomes: dict[str, list[Outcome]]) -> dict[str, Any]:
    """The JSON object's `arms`."""
    return {arm: _figures_of(found) for arm, found in outcomes.items()}


def _figures_of(found: list[Outcome]) -> dict[str, Any]:
    n = len(found)
    times = {}
    for name, (_, of) in TIMES.items():
        values = [value for outcome in found if (value := of(outcome)) is not None]
        times[name] = {
            "median": quantile(values, 0.5).record(), "p95": quantile(values, 0.95).record(), "happened": share(len(values), n).record(),
        }  # fmt: skip
    wrong = [o for o in found if sum(o.wrong.values())]
    survived = [o for o in wrong if (o.lowest_after_wrong or 0) >= WORST]
    return {
        "runs": n, "times": times,
        "below_60": share(sum(o.lowest < BAD for o in found), n).record(),
        "below_40": share(sum(o.lowest < WORST for o in found), n).record(),
        "ends": {end: sum(o.end == end for o in found) for end in sorted({o.end for o in found})},
        "wrong_branches": {sort: sum(o.wrong.get(sort, 0) for o in found) for sort in ("misheard", "misreported", "assumed")},
        "runs_with_wrong_branches": len(wrong), "survived_wrong_branches": share(len(survived), len(wrong)).record(),
        "believed_at_once": share(sum(o.believed for o in found), sum(o.utterances for o in found)).record(),
        "assumed_branches": sum(o.assumed for o in found),
        "causes": {cause: _cause(found, cause) for cause in sorted({o.cause for o in found})},
        "failures": [{"seed": o.seed, "what": what} for o in found for what in o.failures],
    }  # fmt: skip


def _cause(found: list[Outcome], cause: str) -> dict[str, Any]:
    those = [o for o in found if o.cause == cause]
    return {
        "runs": len(those), "below_60": share(sum(o.lowest < BAD for o in those), len(those)).record(),
        "without_s": quantile([o.without_s for o in those], 0.5).record(),
    }  # fmt: skip


# ---- for people ----------------------------------------------------------------------------------


def show(arms: dict[str, Any], seeds: range, console: Console) -> None:
    """Prints the tables; the first line says what this is."""
    console.print(Text(NOTE, style="bold"))
    console.print(f"{len(seeds)} emergencies (seeds {seeds.start} to {seeds.stop - 1}), the same in every column. In brackets: 95% intervals.\n")
    console.print(LIMITS + "\n")
    console.print(_times(arms))
    console.print(_shares(arms))
    console.print(_causes(arms))
    _wrong(arms, console)
    _failures(arms, console)


def _times(arms: dict[str, Any]) -> Table:
    table = _table("Seconds from the start of help", arms)
    for name, (title, _) in TIMES.items():
        for what, words in (("median", "median"), ("p95", "95th percentile")):
            if name == "lowest_percent" and what == "p95":
                continue
            table.add_row(f"{title}, {words}", *(_of(arm["times"][name][what]) for arm in arms.values()))
        if name != "without_s" and name != "lowest_percent":
            table.add_row("  … in so many runs", *(_percent(arm["times"][name]["happened"]) for arm in arms.values()), style="dim")
    return table


def _shares(arms: dict[str, Any]) -> Table:
    table = _table("Share of runs", arms)
    table.add_row("saturation went below 60%", *(_percent(arm["below_60"]) for arm in arms.values()))
    table.add_row("saturation went below 40%", *(_percent(arm["below_40"]) for arm in arms.values()))
    ends = sorted({end for arm in arms.values() for end in arm["ends"]})
    for end in ends:
        table.add_row(f"ended: {end}", *(f"{100 * arm['ends'].get(end, 0) / arm['runs']:.1f}%" for arm in arms.values()))
    return table


def _causes(arms: dict[str, Any]) -> Table:
    table = _table("Below 60%, by what was wrong", arms)
    for cause in sorted({cause for arm in arms.values() for cause in arm["causes"]}):
        n = max(arm["causes"].get(cause, {"runs": 0})["runs"] for arm in arms.values())
        table.add_row(f"{cause} ({n})", *(_percent(arm["causes"][cause]["below_60"]) for arm in arms.values()))
    return table


def _wrong(arms: dict[str, Any], console: Console) -> None:
    for name, arm in arms.items():
        if name == CARD:
            continue
        wrong = arm["wrong_branches"]
        console.print(
            f"Wrong branches, {TITLES[name]}: {wrong['misheard']} misheard, {wrong['misreported']} misreported by the caregiver, "
            f"{wrong['assumed']} assumed in silence though the truth led elsewhere; in {arm['runs_with_wrong_branches']} runs, of which "
            f"{_percent(arm['survived_wrong_branches'])} never fell below 40% afterwards. "
            f"Believed at once: {_percent(arm['believed_at_once'])} of what was said."
        )


def _failures(arms: dict[str, Any], console: Console) -> None:
    for name, arm in arms.items():
        found = arm["failures"]
        if name != FLOW:  # a baseline is expected to break what the flow must keep
            if found:
                console.print(f"{TITLES[name]}: {len({f['seed'] for f in found})} runs broke a property (no finding: it is a baseline).")
            continue
        if not found:
            console.print("No run broke a property of the flow.")
        for failure in found[:FAILURES_SHOWN]:
            console.print(Text(f"FAILED seed {failure['seed']}: {failure['what']}", style="red"))
        if found:
            console.print(f"{len(found)} failures. See one step by step: prompter flow simulate --runs 1 --trace --seed {found[0]['seed']}")


def _table(title: str, arms: dict[str, Any]) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=SIMPLE_HEAD, pad_edge=False)
    table.add_column("", no_wrap=True)
    for arm in arms:
        table.add_column(TITLES[arm], justify="right")
    return table


def _of(record: dict[str, Any]) -> str:
    estimate = Estimate(**record)
    if estimate.value is None:
        return "–"
    return f"{estimate.value:.1f} ({estimate.low:.1f}–{estimate.high:.1f})"


def _percent(record: dict[str, Any]) -> str:
    estimate = Estimate(**record)
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return "–"
    return f"{100 * estimate.value:.1f}% ({100 * estimate.low:.1f}–{100 * estimate.high:.1f})"
