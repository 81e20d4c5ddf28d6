"""Makes the one page about many incidents: self-contained, in the look of the page of one."""

from dataclasses import dataclass
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from prompter.review.account import seconds
from prompter.review.many import charts, summary
from prompter.review.many.engines import Answers
from prompter.review.many.gathering import Gathered
from prompter.review.page import CAUTIONS

SET_APART_SHOWN = 20

COPIES_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Section:
    """A question, its answer as a picture and as a table, and what its figures mean."""

    identity: str
    title: str
    picture: Markup
    note: str
    heads: tuple[str, ...]
    rows: list[tuple[str, ...]]


def render_many(answers: Answers, gathered: Gathered, rehearsals: bool, others: int) -> str:
    """The page as HTML text. `others`: journals of the other sort (rehearsals, emergencies) left out."""
    flows = answers.flows.to_pylist()
    return (
        _environment()
        .get_template("many.html")
        .render(
            incidents=answers.incidents.num_rows,
            homes=len(set(answers.incidents["home"].to_pylist())),
            first=min(row["first"] for row in flows)[:10],
            last=max(row["last"] for row in flows)[:10],
            flows=flows,
            rehearsals=rehearsals,
            others=others,
            gathered=gathered,
            shown=SET_APART_SHOWN,
            copies_shown=COPIES_SHOWN,
            sections=[*_times(answers), *_worst(answers)],
            fewest=summary.FEWEST,
            cautions=CAUTIONS,
        )
    )


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("prompter.review", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"percent": percent, "time": time}
    return environment


def percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f} %"


def time(t_s: float | None) -> str:
    return "none" if t_s is None else seconds(t_s)


def _times(answers: Answers) -> list[Section]:
    told = {
        "first_breath": ("breath", "Time to the first paced breath", "breathed"),
        "call_asked": ("call", "Time until the call was asked for", "called"),
        "on_speaker": ("speaker", "Time until the phone was on speaker", "on_speaker"),
    }
    found = []
    for column, (identity, title, count) in told.items():
        rows = []
        for flow in answers.flows.to_pylist():
            short = column.removesuffix("_asked")
            by = (time(flow[f"{short}_p50_s"]), time(flow[f"{short}_p90_s"]))
            rows.append((flow["flow"], f"{flow[count]} of {flow['incidents']}", *by))
        found.append(
            Section(
                identity,
                title,
                charts.reached(summary.curves(answers, f"{column}_s"), title, identity),
                "The curves end where it never came about: that is what they lack to 100 %.",
                ("Flow version", "It came about in", "Half of those by", "Nine in ten of those by"),
                rows,
            )
        )
    return found


def _worst(answers: Answers) -> list[Section]:
    stalling, doubted = summary.stalling(answers), summary.doubted(answers)
    back, again = summary.taken_back(answers), summary.repeated(answers)
    step, answer = ("step",), ("step", "answer")
    return [
        Section(
            "stall",
            "Steps that stall",
            charts.bars(summary.bars_of(stalling, "assumed", "stays", *step), "Steps that ended unanswered", "stall", charts.BAD),
            "Share of the stays in a step that ended because nobody answered, so that the prompter assumed.",
            ("Step", "Flow", "Stays", "Unanswered", "Half left within", "Nine in ten within", "Longest"),
            [
                (*_place(row, *step), str(row["stays"]), percent(row["assumed"]), time(row["stay_p50_s"]), time(row["stay_p90_s"]), time(row["longest_s"]))
                for row in stalling
            ],
        ),
        Section(
            "doubt",
            "Answers that are asked again",
            charts.bars(summary.bars_of(doubted, "asked_again", "heard", *answer), "Answers not believed at first", "doubt"),
            "Of the times an answer was what the prompter heard best, the share it did not believe.",
            ("Step: answer", "Flow", "Heard", "Not believed"),
            [(*_place(row, *answer), str(row["heard"]), percent(row["asked_again"])) for row in doubted],
        ),
        Section(
            "misheard",
            "Answers that may be misheard",
            charts.bars(summary.bars_of(back, "share", "believed", *answer), "Answers taken back", "misheard", charts.BAD),
            "Share of the believed answers that the caregiver took back at once (“that was wrong”): "
            "misheard, or a slip of the tongue. Below: what was believed right after another answer was not.",
            ("Step: answer", "Flow", "Then believed", "Times"),
            [
                (*_place(row, *answer), row["then"], f"{row['times']} in {row['incidents']} incidents")
                for row in summary.confused(answers)
            ],
        ),
        Section(
            "repeat",
            "Prompts that need repeating",
            charts.bars(summary.bars_of(again, "repeated", "stays", "step", "text"), "Prompts said again", "repeat"),
            "Share of the stays in a step in which this prompt was said again. Words of the plan are left out (…).",
            ("Step: prompt", "Flow", "Stays", "Said again", "Most often"),
            [
                (*_place(row, "step", "text"), str(row["stays"]), percent(row["repeated"]), f"{row['most_times']} times")
                for row in again
            ],
        ),
    ]  # fmt: skip


def _place(row: dict[str, Any], *names: str) -> tuple[str, str]:
    return ": ".join(summary.name_of(row, name) for name in names), summary.version(row["flow"])
