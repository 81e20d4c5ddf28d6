"""Picks from the answers what the page shows: by flow version, the worst first, with enough of them."""

from typing import Any

from prompter.review.many.charts import Bar, Curve
from prompter.review.many.engines import Answers

FEWEST = 10
"""Shares of fewer stays or answers than this are no finding (all of them are in the CSV)."""

SHOWN = 15
"""The worst so many of each kind are on the page."""

NAME_LETTERS = 44
"""So many fit over a bar on a phone (360 px); the table has all of them."""

FLOWS_DRAWN = 4
"""Curves in one chart: the flow versions with most incidents."""


def curves(answers: Answers, column: str) -> list[Curve]:
    """Of the flow versions with most incidents, when each incident had reached it."""
    by_flow: dict[str, list[float | None]] = {}
    for row in answers.incidents.select(["flow", column]).to_pylist():
        by_flow.setdefault(row["flow"], []).append(row[column])
    most = sorted(by_flow, key=lambda flow: (-len(by_flow[flow]), flow))[:FLOWS_DRAWN]
    return [
        Curve(
            f"{flow}, n = {len(by_flow[flow])}",
            sorted(max(0.0, t) for t in by_flow[flow] if t is not None),
            by_flow[flow].count(None),
        )
        for flow in sorted(most)
    ]


def stalling(answers: Answers) -> list[dict[str, Any]]:
    """Steps that nobody's answer ended: the largest share of stays ended by assumption first."""
    return _worst(answers.steps.to_pylist(), "assumed", "stays")


def slow(answers: Answers) -> list[dict[str, Any]]:
    """Steps in which care stood longest."""
    return _worst(answers.steps.to_pylist(), "stay_p90_s", "stays")


def doubted(answers: Answers) -> list[dict[str, Any]]:
    """Answers that had to be asked again."""
    return _worst(answers.answers.to_pylist(), "asked_again", "heard")


def taken_back(answers: Answers) -> list[dict[str, Any]]:
    """Answers believed and then taken back."""
    rows = answers.answers.to_pylist()
    for row in rows:
        row["share"] = row["taken_back"] / row["believed"] if row["believed"] else 0.0
    return _worst(rows, "share", "believed")


def confused(answers: Answers) -> list[dict[str, Any]]:
    """Pairs of an answer not believed and the one believed next, the most frequent first."""
    rows = sorted(answers.confusions.to_pylist(), key=lambda row: -row["times"])
    return rows[:SHOWN]


def repeated(answers: Answers) -> list[dict[str, Any]]:
    """Prompts that had to be said again."""
    return _worst(answers.prompts.to_pylist(), "repeated", "stays")


def bars_of(rows: list[dict[str, Any]], share: str, n: str, *names: str) -> list[Bar]:
    """The rows as bars, named by the columns `names`; with several flow versions theirs as well."""
    several = len({row["flow"] for row in rows}) > 1
    return [
        Bar(
            _shorten(": ".join(name_of(row, name) for name in names)),
            row[share],
            row[n],
            version(row["flow"]) if several else "",
        )
        for row in rows
    ]


def name_of(row: dict[str, Any], column: str) -> str:
    value = row[column]
    return "words of one home" if value is None else str(value).replace("-", " ") if column == "step" else str(value)


def version(flow: str) -> str:
    """'breathing-trouble 2 (0f3a9c1e)' as '2 0f3a'."""
    parts = flow.replace("(", "").replace(")", "").split()
    return " ".join([*parts[1:-1], parts[-1][:4]]) if len(parts) > 1 else flow


def _shorten(text: str) -> str:
    return text if len(text) <= NAME_LETTERS else text[: NAME_LETTERS - 1].rstrip() + "…"


def _worst(rows: list[dict[str, Any]], column: str, count: str) -> list[dict[str, Any]]:
    found = [row for row in rows if row[count] >= FEWEST and row[column]]
    return sorted(found, key=lambda row: (-row[column], -row[count]))[:SHOWN]
