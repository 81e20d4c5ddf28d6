"""Draws the charts of many incidents as SVG that stands in the page: text stays text, no colour alone."""

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

INK, SOFT, LINE, DEEP, TINT, BAD = "#16232a", "#3a4a52", "#b9c5c6", "#0a4650", "#f1f5f4", "#7d1616"
"""The colours of the page of one incident."""

DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (8, 2, 2, 2)))
INKS = (DEEP, BAD, INK, SOFT)
WIDE_IN = 8.0
POINTS = 200

_STYLE = {
    "svg.fonttype": "none",
    "svg.hashsalt": "prompter",
    "font.family": "sans-serif",
    "font.size": 10,
    "text.color": INK,
    "axes.edgecolor": LINE,
    "axes.labelcolor": SOFT,
    "xtick.color": SOFT,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


@dataclass(frozen=True, slots=True)
class Curve:
    """One flow version's times in seconds, sorted; `never`: incidents in which it did not happen."""

    name: str
    times_s: Sequence[float]
    never: int = 0


@dataclass(frozen=True, slots=True)
class Bar:
    """A share from 0 to 1 of `n`, and what it is of."""

    name: str
    share: float
    n: int


def reached(curves: list[Curve], title: str, identity: str) -> Markup:
    """How many incidents had reached it by when: a curve a flow version, told apart by dashes and name."""
    longest_s = max((_near_all(c.times_s) for c in curves), default=1.0)

    def draw(axes: Axes) -> None:
        for number, curve in enumerate(curves):
            total = len(curve.times_s) + curve.never
            points = _points(len(curve.times_s))
            shares = [100 * (n + 1) / total for n in points]
            axes.step([0, *(curve.times_s[n] for n in points)], [0, *shares], where="post", color=INKS[number % 4],
                      linestyle=DASHES[number % 4], linewidth=1.8, label=curve.name)  # fmt: skip
        axes.set(xlim=(0, max(longest_s, 1)), ylim=(0, 102))
        axes.set_xlabel("seconds since the emergency began")
        axes.set_ylabel("% of incidents")
        axes.grid(color=LINE, linewidth=0.6)
        axes.legend(loc="lower right", frameon=False, labelcolor=INK)

    return _svg(draw, 3.1, title, identity)


def bars(found: list[Bar], title: str, identity: str, colour: str = DEEP) -> Markup:
    """Shares as bars, each with its figure and number; nothing for none."""
    if not found:
        return Markup()

    def draw(axes: Axes) -> None:
        places = range(len(found))
        drawn = axes.barh(places, [100 * bar.share for bar in found], height=0.62, color=colour)
        axes.set_yticks(places, [bar.name for bar in found])
        axes.bar_label(drawn, [f"{100 * bar.share:.0f} % of {bar.n}" for bar in found], padding=4, color=INK)
        most = max((bar.share for bar in found), default=0)
        axes.set(xlim=(0, min(118, max(5, 100 * most * 1.25))), ylim=(len(found) - 0.4, -0.6))
        axes.tick_params(axis="y", length=0)
        axes.spines["bottom"].set_visible(False)
        axes.set_xticks([])

    return _svg(draw, 0.35 + 0.3 * max(1, len(found)), title, identity)


def _points(count: int) -> list[int]:
    """Which of so many times a curve is drawn through: a few hundred look like all."""
    return sorted({round(n * (count - 1) / (POINTS - 1)) for n in range(POINTS)}) if count else []


def _near_all(times_s: Sequence[float]) -> float:
    """The time that leaves out the slowest two in a hundred: one hour would flatten all the others."""
    ordered = sorted(times_s)
    return ordered[int(0.98 * (len(ordered) - 1))] if ordered else 1.0


def _svg(draw: Callable[[Axes], None], high_in: float, title: str, identity: str) -> Markup:
    """The drawing as an SVG element with a title; what it shows stands in a table beside it."""
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(WIDE_IN, high_in), layout="constrained")
        draw(figure.add_subplot())
        text = io.StringIO()
        figure.savefig(text, format="svg", transparent=True, metadata={"Date": None})
    svg = text.getvalue()
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r"""(id="|url\(#|href="#)""", rf"\g<1>{identity}-", svg)  # several stand in one page
    width, height = re.search(r'width="([\d.]+)pt" height="([\d.]+)pt"', svg).groups()
    head = Markup('<svg class="chart" viewBox="0 0 {} {}" role="img" aria-labelledby="{}-name"><title id="{}-name">{}</title>')
    return head.format(width, height, identity, identity, title) + Markup(svg[svg.index(">") + 1 :])  # noqa: S704
