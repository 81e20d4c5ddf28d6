"""Makes the one page a clinician opens: self-contained, for a phone, a screen or A4 paper."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from itertools import groupby

from jinja2 import Environment, PackageLoader, StrictUndefined

from prompter.review import timeline
from prompter.review.account import clock, refill, ten_lines, time_rows
from prompter.review.entries import Entry
from prompter.review.incident import Incident
from prompter.review.marks import LEGEND, mark_drawings, mark_icon
from prompter.review.questions import questions
from prompter.review.sounds import Heard

CAUTIONS = (
    "This is not a medical device.",
    "It does not replace training, the care plan or the emergency number.",
    "Only people trained by the care team do these steps.",
    "If it fails or is unsure, act on your training and call.",
    "Numbers and practice differ by country: the plan and local practice win.",
)

FILTERS = (
    ("main", "What matters"),
    ("all", "Everything"),
    ("caregiver", "Caregiver"),
    ("prompter", "Prompter"),
    ("step", "Steps and facts"),
    ("unsure", "Assumed, not believed, unknown"),
    ("trouble", "Faults"),
)


@dataclass(frozen=True, slots=True)
class Integrity:
    """Whether the record is whole, in words."""

    whole: bool
    text: str


def render(incident: Incident, sounds: Mapping[int, Heard] | None = None) -> str:
    """The page as HTML text. `sounds`: by event number; an anonymous page has none."""
    return (
        _environment()
        .get_template("page.html")
        .render(
            incident=incident,
            started=when(incident),
            questions=questions(incident),
            sounds={} if incident.anonymous else sounds or {},
            lines=ten_lines(incident),
            times=time_rows(incident),
            refill=refill(incident),
            pictures=[timeline.draw(incident, form) for form in (timeline.WIDE, timeline.NARROW)],
            summary=timeline.summary(incident),
            legend=LEGEND,
            drawings=mark_drawings(),
            rows=rows(incident.entries),
            filters=FILTERS,
            integrity=integrity(incident),
            banner=banner(incident),
            cautions=CAUTIONS,
        )
    )


def when(incident: Incident) -> str:
    """The start for people: '14 March 2026, 02:41:07 (UTC+01:00)'."""
    started = datetime.fromisoformat(incident.started)
    return f"{started.day} {started:%B %Y, %H:%M:%S} (UTC{incident.started[-6:]})"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("prompter.review", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"clock": clock, "mark": mark_icon, "css_class": css_class}
    return environment


def banner(incident: Incident) -> str:
    """What must be known before anything is read; empty for a real emergency with a real plan."""
    plan = incident.plan
    if plan.is_rehearsal and plan.is_demo:
        return "Rehearsal with the demonstration plan. The caregiver was simulated; nobody was in danger; all names are invented."
    if plan.is_rehearsal:
        return "Rehearsal. The caregiver was simulated; nobody was in danger."
    return "The plan in this record is the invented demonstration plan." if plan.is_demo else ""


def integrity(incident: Incident) -> Integrity:
    """The result of the check of the chain."""
    reading = incident.reading
    kept = f"{len(reading.events)} events"
    if reading.torn_tail:
        return Integrity(
            False,
            f"The record breaks off or was changed in its last line ({reading.problem}). The {kept} before it are as written.",
        )
    if not reading.intact:
        return Integrity(
            False,
            f"The record is damaged: {reading.problem}. This account uses the {kept} before it; what came after is not shown.",
        )
    if not reading.closed:
        return Integrity(
            True,
            f"All {kept} are as written, but the record was not closed: the program or its power may have stopped.",
        )
    return Integrity(True, f"All {kept} are as written, and the record was closed.")


def rows(entries: list[Entry]) -> list[Entry]:
    """The table's rows: beats that follow one another become one row that still holds each time, and so
    does what only an engineer asks about."""
    found: list[Entry] = []
    for (sort, row), group in groupby(entries, key=_sort):
        run = list(group)
        if sort == "taken":
            found += _with_what_was_taken(run)
        elif not sort or len(run) == 1:
            found += run
        elif sort == "beat":
            times = ", ".join(f"{e.t_s:.1f}" for e in run)
            text = f"{len(run)} beats ({row}), {clock(run[0].t_s)} to {clock(run[-1].t_s)}"
            found.append(replace(run[0], text=text, detail=f"at {times} s", minor=False))
        else:
            told = "; ".join(f"{e.text}{f' ({e.detail})' if e.detail else ''} {e.t_s:.1f} s" for e in run)
            found.append(replace(run[0], text=told, detail=""))
    return found


_TAKEN = {"answered": "answer taken", "unclear": "asked again"}
"""What may follow at once on what was heard, and tells no more than that it was taken or not."""


def _with_what_was_taken(run: list[Entry]) -> list[Entry]:
    found: list[Entry] = []
    for entry in run:
        before = found[-1] if found else None
        if before is not None and before.kind == "heard" and entry.minor and entry.kind in _TAKEN:
            detail = "; ".join(filter(None, [before.detail, _TAKEN[entry.kind]]))
            found[-1] = replace(before, kind=entry.kind, detail=detail)
        else:
            found.append(entry)
    return found


def _sort(entry: Entry) -> tuple[str, str]:
    """What may share a row with its neighbour; an empty sort shares with nobody of another."""
    if entry.kind == "beat":
        return "beat", entry.row
    if entry.kind in _TAKEN or entry.kind == "heard":
        return "taken", entry.row
    return ("program" if entry.row == "program" and entry.minor else "", entry.row)


def css_class(entry: Entry) -> str:
    """What the filters of the table look for."""
    groups = {
        "patient": "step",
        "saturation": "caregiver",
        "call": "prompter" if entry.kind == "say" else "step",
    }
    unsure = " unsure" if entry.how in ("assumed", "not believed", "unknown") else ""
    return f"{groups.get(entry.row, entry.row)}{unsure}{' minor' if entry.minor else ''}"
