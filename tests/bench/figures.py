"""What the hearing has to reach, and whether rows of measurements reach it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from hearing_rows import Row

from prompter.hear.measure.bounds import upper_bound, upper_count

OUTCOMES = ("right", "wrong", "asked again", "not heard", "taken", "refused")
OFFSETS = (-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
"""Shifts of all thresholds, in log-odds, for the curve."""


@dataclass(slots=True)
class Line:
    """One line of the table. `held`: None where nothing is aimed at."""

    figure: str
    condition: str
    counts: dict[str, int] = field(default_factory=dict)
    n: int = 0
    value: str = ""
    bound: str = ""
    aim: str = ""
    held: bool | None = None


@dataclass(frozen=True, slots=True)
class Aim:
    """Least share right and largest share wrong, in percent; None: not aimed at."""

    right: float | None = None
    wrong: float | None = None


def lines(rows: list[Row]) -> list[Line]:
    """The whole table."""
    return [
        *_answers(rows, "people", {"clean": Aim(98, 0), "crying 5 dB": Aim(92, 0.5)}),
        *_answers(rows, "flow", _flow_aims(rows)),
        *_by(rows, "flow: reverberation", "rt60_s", "RT60 {} s"),
        *_by(rows, "flow: pacing tones", "pace", "pacing {}"),
        _swaps(rows),
        *_taken_shares(rows),
        *_taken_rates(rows),
        *_times(rows),
    ]


def _flow_aims(rows: list[Row]) -> dict[str, Aim]:
    found = dict.fromkeys(row["group"].split(": ")[1] for row in rows if row["group"][:4] == "flow")
    right = {"clean": 99, "reverberation": 95, "20 dB": 95, "10 dB": 95, "5 dB": 95, "0 dB": 88}
    noisy = {c: " ".join(c.split()[1:]) for c in found if c.split()[0] in _NOISY}
    return {c: Aim(right.get(noisy.get(c, c)), 0.2) for c in found}


_NOISY = ("crying", "hiss", "motor", "rumble")


def _of(rows: list[Row], group: str) -> list[Row]:
    return [row for row in rows if row["group"] == group]


def _counts(rows: list[Row]) -> dict[str, int]:
    return {name: sum(row["outcome"] == name for row in rows) for name in OUTCOMES}


def _answers(rows: list[Row], kind: str, aims: dict[str, Aim]) -> list[Line]:
    return [
        _answer_line(_of(rows, f"{kind}: {condition}"), kind, condition, aim)
        for condition, aim in aims.items()
    ]


def _answer_line(some: list[Row], figure: str, condition: str, aim: Aim) -> Line:
    counts, n = _counts(some), len(some)
    parts, held = [], []
    if aim.right is not None:
        parts.append(f"right >= {aim.right:g}%")
        held.append(100 * counts["right"] >= aim.right * n)
    if aim.wrong is not None:
        parts.append(f"wrong <= {aim.wrong:g}%" if aim.wrong else "wrong 0")
        held.append(100 * counts["wrong"] <= aim.wrong * n)
    return Line(
        figure, condition, counts, n, _percent(counts["right"], n),
        _percent(upper_bound(counts["wrong"], n), 1, 2), ", ".join(parts),
        all(held) if held and n else None,
    )  # fmt: skip


def _by(rows: list[Row], group: str, key: str, title: str) -> list[Line]:
    """A condition taken apart."""
    some = _of(rows, group)
    return [
        _answer_line([r for r in some if r[key] == value], "  of these", title.format(value), Aim())
        for value in sorted({row[key] for row in some})
    ]


def _swaps(rows: list[Row]) -> Line:
    some = [row for row in rows if row["group"].startswith("flow")]
    count = sum(row["swapped"] for row in some)
    bound = _percent(upper_bound(count, len(some)), 1, 2)
    return Line("opposites swapped", "all of flow", {"wrong": count}, len(some), str(count), bound,
                "0", count == 0 if some else None)  # fmt: skip


_TAKEN_AIMS = {
    "unknown words: clean": 1.0, "unknown words: crying 5 dB": 1.0,
    "any word at a step: clean": 1.0, "any word at a step: crying 5 dB": 1.0,
    "silence: clean": 0.0, "near to answers: clean": None, "room noise: alone": 0.0,
}  # fmt: skip


def _taken_shares(rows: list[Row]) -> list[Line]:
    found = []
    for group, most in _TAKEN_AIMS.items():
        some = _of(rows, group)
        counts, n = _counts(some), len(some)
        kind, condition = group.split(": ")
        aim = "" if most is None else f"taken <= {most:g}%" if most else "taken 0"
        held = 100 * counts["taken"] <= most * n if n and most is not None else None
        found.append(Line(kind, condition, counts, n, _percent(counts["taken"], n),
                          _percent(upper_bound(counts["taken"], n), 1, 2), aim, held))  # fmt: skip
    return found


def _taken_rates(rows: list[Row]) -> list[Line]:
    """Talk: how often an hour something was believed."""
    found = []
    for condition in ("others at home", "operator on the speaker"):
        some = _of(rows, f"talk: {condition}")
        hours = sum(row["seconds"] for row in some) / 3600
        taken = sum(h["believed"] for row in some for h in row["heard"])
        said = [text for row in some for text in row["lines"]]
        rate = f"{taken / hours:.1f} an hour" if hours else ""
        bound = f"{upper_count(taken) / hours:.1f}" if hours else ""
        title = f"{condition}, {hours:.2f} h, {len(said)} sentences"
        title += f" ({len(set(said))} different), {sum(len(t.split()) for t in said)} words"
        found.append(Line("talk", title, {"taken": taken}, len(some), rate, bound, "<= 1 an hour",
                          taken <= hours if hours else None))  # fmt: skip
    return found


def _times(rows: list[Row]) -> list[Line]:
    some = [row for row in rows if row["group"].startswith("timing")]
    heard = [h["decide_ms"] for row in some for h in row["heard"] if h["window"]]
    plain = [row for row in some if row["end_ms"] is not None]
    whole = [row for name in ("clean", "pauses") for row in _of(rows, f"flow: {name}")]
    early = sum(row["early"] for row in whole)
    sizes = [(r["before_mb"], r["ready_mb"], r["memory_mb"]) for r in _of(rows, "memory: one ear")]
    before, ready, memory = sizes[0] if sizes else (0, 0, 0)
    return [
        _time("deciding", "two cores, all wordings of a step", heard, {"p50": 80, "p95": 250}),
        _time("end of speech found", "after the last sound", [r["end_ms"] for r in plain], {"p50": 250}),
        _time("decided", "after the last sound", [r["reply_ms"] for r in plain if r["reply_ms"]], {}),
        Line("cut off early", "clean and with pauses", {}, len(whole), _percent(early, len(whole)),
             _percent(upper_bound(early, len(whole)), 1, 2), "<= 1%",
             100 * early <= len(whole) if whole else None),
        Line("memory", f"one ear; {before} MB before it, {ready} MB when ready", {}, len(sizes),
             f"{memory} MB", "", "<= 400 MB", memory <= 400 if memory else None),
    ]  # fmt: skip


def quartiles(values: list[int]) -> dict[str, int]:
    """Median and 95th percentile, rounded; zeros without values."""
    p50, p95 = np.percentile(values or [0], [50, 95])
    return {"p50": round(float(p50)), "p95": round(float(p95))}


def _time(figure: str, condition: str, values: list[int], aims: dict[str, int]) -> Line:
    found = quartiles(values)
    value = f"p50 {found['p50']} ms, p95 {found['p95']} ms"
    aim = ", ".join(f"{name} <= {most} ms" for name, most in aims.items())
    held = all(found[name] <= most for name, most in aims.items()) if aims and values else None
    return Line(figure, condition, {}, len(values), value, "", aim, held)


def _percent(count: float, n: float, digits: int = 1) -> str:
    return f"{100 * count / n:.{digits}f}%" if n else ""


# ---- the curve ----------------------------------------------------------------------------------


def curve(rows: list[Row], offsets: tuple[float, ...] = OFFSETS) -> list[dict[str, Any]]:
    """Right and wrong had all thresholds been `offset` higher. Below 0 it is at worst: what other
    rules would have refused is counted as believed."""
    return [
        {"offset": offset, "n": len(rows)}
        | _counts_at(rows, lambda h, offset=offset: h["spare"] is not None and h["spare"] >= offset)
        for offset in offsets
    ]


def _counts_at(rows: list[Row], believed: Callable[[Row], bool]) -> dict[str, int]:
    answers = [(row["right"], [h["answer"] for h in row["heard"] if believed(h)]) for row in rows]
    wrong = sum(any(a != right for a in some) for right, some in answers)
    right = sum(bool(some) and all(a == right for a in some) for right, some in answers)
    return {"right": right, "wrong": wrong}


def shares(rows: list[Row], key: str, least: int = 4) -> dict[str, tuple[int, int, int]]:
    """(right, wrong, n) of the flow's answers by 'said', 'voice' or 'step', worst first."""
    groups: dict[str, list[Row]] = {}
    for row in rows:
        if row["group"].startswith("flow"):
            groups.setdefault(row[key], []).append(row)
    counts = {
        name: (*(_counts(some)[c] for c in ("right", "wrong")), len(some))
        for name, some in groups.items() if len(some) >= least
    }  # fmt: skip
    return dict(sorted(counts.items(), key=lambda pair: pair[1][0] / pair[1][2]))


def mistakes(rows: list[Row]) -> list[dict[str, Any]]:
    """Every answer that was believed and not given."""
    found = []
    for row in rows:
        for heard in row.get("heard", []):
            if heard["believed"] and heard["answer"] != row["right"]:
                about = {k: row.get(k) for k in ("group", "number", "voice", "said", "step")}
                more = {k: row[k] for k in ("rt60_s", "pace", "operator", "plan") if k in row}
                names = ("wording", "answer", "score", "margin", "text", "runner_up", "meanwhile")
                found.append(about | more | {k: heard[k] for k in names if k in heard}
                             | {"swapped": row["swapped"]})  # fmt: skip
    return found
