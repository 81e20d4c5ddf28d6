"""Draws the charts of many incidents as SVG that stands in the page: text stays text, no colour alone.

Lengths across are shares of the width, so that words keep their size from a phone's width to paper.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

INK, SOFT, DEEP, BAD = "#16232a", "#3a4a52", "#0a4650", "#7d1616"
"""The colours of the page of one incident."""

DASHES = ("", "9 3", "3 3", "12 3 3 3")
INKS = (DEEP, BAD, INK, SOFT)
POINTS = 200

TEXT = 13
"""Height of the words, in CSS pixels."""

PLOT_HIGH, TOP = 220, 10
LEFT, WIDE = 13, 83
"""Where the plot begins and how wide it is, in percent of the width: on a phone 13 is "100 %"."""

SHARES = (0, 25, 50, 75, 100)
TICKS_MOST = 6
TICKS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600)

BAR_HIGH, ROW_HIGH, BAR_MOST = 13, 40, 52
"""In CSS pixels; the longest bar in percent of the width: its figure stands behind it."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One flow version's times in seconds, sorted; `never`: incidents in which it did not happen."""

    name: str
    times_s: Sequence[float]
    never: int = 0


@dataclass(frozen=True, slots=True)
class Bar:
    """A share from 0 to 1 of `n`, and what it is of. `version`: of the flow, if there are several."""

    name: str
    share: float
    n: int
    version: str = ""


def reached(curves: list[Curve], title: str, identity: str) -> Markup:
    """How many incidents had reached it by when: a curve a flow version, told apart by dashes and name."""
    longest_s = max([1.0, *(_near_all(curve.times_s) for curve in curves)])
    step_s = next((step for step in TICKS_S if longest_s / step < TICKS_MOST), longest_s / (TICKS_MOST - 1))
    ticks_s = [n * step_s for n in range(int(longest_s / step_s) + 1)]
    grid = Markup().join(
        [Markup('<path class="grid" d="M0 {0}H1000"/>').format(100 - share) for share in SHARES]
        + [Markup('<path class="grid" d="M{0:.1f} 0V100"/>').format(1000 * t_s / longest_s) for t_s in ticks_s]
    )
    lines = Markup().join(
        Markup('<path class="curve" d="{}" stroke="{}" stroke-dasharray="{}"/>').format(
            _steps(curve, longest_s), INKS[n % 4], DASHES[n % 4]
        )
        for n, curve in enumerate(curves)
    )
    below = TOP + PLOT_HIGH
    labels = [
        _text(f"{share} %", f"{LEFT}%", TOP + PLOT_HIGH * (100 - share) / 100 + 4, "end", moved=-6) for share in SHARES
    ]
    across = Markup().join(_text(f"{t_s:g}", f"{100 * t_s / longest_s:.2f}%", below + 18, "middle") for t_s in ticks_s)
    named = [
        Markup('<path class="curve" d="M2 {0}H34" stroke="{1}" stroke-dasharray="{2}"/>').format(
            below + 58 + 20 * n - 4, INKS[n % 4], DASHES[n % 4]
        )
        + _text(curve.name, 42, below + 58 + 20 * n)
        for n, curve in enumerate(curves)
    ]
    # The plot is stretched to the width that is left of the words; its strokes are not.
    plot = Markup(
        '<svg x="{left}%" y="{top}" width="{wide}%" height="{high}" viewBox="0 0 1000 100" preserveAspectRatio="none" overflow="visible">{grid}{lines}</svg>'
        '<svg x="{left}%" width="{wide}%" height="{below}" overflow="visible">{across}</svg>'
    ).format(left=LEFT, wide=WIDE, top=TOP, high=PLOT_HIGH, grid=grid, lines=lines, below=below, across=across)
    under = _text("% of incidents, by seconds since it began", 0, below + 38)
    return _svg(Markup().join([plot, *labels, under, *named]), below + 48 + 20 * len(curves), title, identity)


def bars(found: list[Bar], title: str, identity: str, colour: str = DEEP) -> Markup:
    """Shares as bars, each with its figure and number; nothing for none."""
    if not found:
        return Markup()
    most = max(0.05, *(bar.share for bar in found))
    drawn = []
    for n, bar in enumerate(found):
        y, wide = ROW_HIGH * n, BAR_MOST * bar.share / most
        of = f" ({bar.version})" if bar.version else ""
        drawn += [
            _text(bar.name, 0, y + 14),
            Markup('<rect x="0" y="{}" width="{:.2f}%" height="{}" fill="{}"/>').format(y + 20, wide, BAR_HIGH, colour),
            _text(f"{100 * bar.share:.0f} % of {bar.n}{of}", f"{wide:.2f}%", y + 31, moved=6),
        ]
    return _svg(Markup().join(drawn), ROW_HIGH * len(found), title, identity)


def _steps(curve: Curve, longest_s: float) -> str:
    """The curve in a field 1000 wide and 100 high, up to `longest_s`."""
    total = len(curve.times_s) + curve.never
    drawn = ["M0 100"]
    for n in _points(bisect_right(curve.times_s, longest_s)):
        drawn.append(f"H{1000 * curve.times_s[n] / longest_s:.1f}V{100 - 100 * (n + 1) / total:.2f}")
    return "".join([*drawn, "H1000"])


def _points(count: int) -> list[int]:
    """Which of so many times a curve is drawn through: a few hundred look like all."""
    return sorted({round(n * (count - 1) / (POINTS - 1)) for n in range(POINTS)}) if count else []


def _near_all(times_s: Sequence[float]) -> float:
    """The time that leaves out the slowest two in a hundred: one hour would flatten all the others."""
    return times_s[int(0.98 * (len(times_s) - 1))] if times_s else 1.0


def _text(text: str, x: float | str, y: float, anchor: str = "start", moved: int = 0) -> Markup:
    return Markup('<text x="{}" y="{:g}" dx="{}" text-anchor="{}" font-size="{}" fill="{}">{}</text>').format(
        x, y, moved, anchor, TEXT, INK, text
    )


def _svg(drawn: Markup, high: float, title: str, identity: str) -> Markup:
    """The drawing as an SVG element with a title; what it shows stands in a table beside it."""
    return Markup(
        '<svg class="chart" width="100%" height="{0:g}" role="img" aria-labelledby="{1}-name"><title id="{1}-name">{2}</title>{3}</svg>'
    ).format(high, identity, title, drawn)
