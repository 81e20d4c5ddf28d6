"""Places boxes and arrows of one picture on A4 sheets, at a size that can be read when printed.

The placing itself is graphlay's (layered, deterministic). What does not fit on one sheet at the
smallest readable type is divided, in the flow's own order; the boxes name where they lead in any case.
"""

import textwrap
from dataclasses import dataclass, replace
from typing import Any

import graphlay
from reportlab.pdfbase.pdfmetrics import stringWidth

from prompter.papers.picture import Arrow, Box, Line, Picture

MM_PT = 72 / 25.4
A4_PT = (210 * MM_PT, 297 * MM_PT)
MARGIN_PT, HEAD_PT = 24.0, 34.0
LEAST_PT, MOST_PT = 7.0, 10.0
"""Type sizes at A4: below 7 pt print is not read (common practice, no source)."""
WRAP = 42
"""Characters a line in a box."""
LEADING, PAD = 1.22, 0.6
"""Of the type size."""


@dataclass(frozen=True)
class Placed:
    """A box with its top left corner, in pt at LEAST_PT."""

    box: Box
    rows: tuple[Line, ...]
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Sheet:
    """One A4 page. Places are for type of LEAST_PT; all of it is enlarged until type is `type_pt`."""

    title: str
    width_pt: float
    height_pt: float
    type_pt: float
    boxes: tuple[Placed, ...]
    arrows: tuple[tuple[Arrow, tuple[tuple[float, float], ...]], ...]


def sheets(picture: Picture) -> list[Sheet]:
    """The picture on as many sheets as it needs, each with type of at least LEAST_PT."""
    if sheet := _fits(picture):
        return [sheet]
    first, second = _halves(picture)
    found = [*sheets(first), *sheets(second)]
    return [replace(s, title=f"{picture.title} ({n} of {len(found)})") for n, s in enumerate(found, 1)]


def _fits(picture: Picture) -> Sheet | None:
    best: Sheet | None = None
    drawn = [_grid(picture, columns) for columns in (3, 4)] if not picture.arrows else [_layered(picture, way) for way in ("topbottom", "leftright")]
    for boxes, arrows, width, height in drawn:
        for page in (A4_PT, A4_PT[::-1]):
            room = (page[0] - 2 * MARGIN_PT, page[1] - 2 * MARGIN_PT - HEAD_PT)
            scale = min(room[0] / width, room[1] / height)
            size = min(scale * LEAST_PT, MOST_PT)
            if size >= LEAST_PT - 1e-9 and (best is None or size > best.type_pt):
                best = Sheet(picture.title, page[0], page[1], size, tuple(boxes), tuple(arrows))
    if best is None and len(picture.boxes) <= 1:
        raise ValueError(f"one box of '{picture.title}' is larger than a sheet")
    return best


def _halves(picture: Picture) -> tuple[Picture, Picture]:
    middle = (len(picture.boxes) + 1) // 2
    found = []
    for boxes in (picture.boxes[:middle], picture.boxes[middle:]):
        keys = {box.key for box in boxes}
        arrows = [a for a in picture.arrows if a.source in keys and a.target in keys]
        found.append(Picture(picture.title, picture.number, boxes, arrows))
    return found[0], found[1]


def _measured(box: Box) -> tuple[tuple[Line, ...], float, float]:
    """Its lines as they are broken, title first, with width and height at LEAST_PT."""
    rows = [Line(text, "title") for text in textwrap.wrap(box.title, WRAP)]
    for line in box.lines:
        rows += [Line(text, line.sort) for text in textwrap.wrap(line.text, WRAP, subsequent_indent="   " if line.sort in ("goes", "leads") else "")]
    width = max(1.03 * width_pt(row) for row in rows) + 2 * PAD * LEAST_PT
    return tuple(rows), width, (len(rows) * LEADING + 2 * PAD) * LEAST_PT


def width_pt(row: Line) -> float:
    """At LEAST_PT, in the font that the pages name first."""
    return stringWidth(row.text, "Helvetica-Bold" if row.sort == "title" else "Helvetica", LEAST_PT)


def _layered(picture: Picture, direction: str) -> tuple[list[Placed], list[Any], float, float]:
    graph = graphlay.Graph()
    measured = {box.key: _measured(box) for box in picture.boxes}
    for key, (_, width, height) in measured.items():
        graph.node(key, width=width, height=height)
    for arrow in picture.arrows:
        graph.edge(arrow.source, arrow.target)
    options = {
        "direction": direction,
        "wrap": {"viewport_aspect": 0.7 if direction == "topbottom" else 1.4},
        "spacing": {
            "layer_gap": 16.0, "node_gap": 12.0, "dummy_gap": 7.0, "port_gap": 6.0, "stub": 6.0,
            "port_stroke_clear": 4.0, "reroute_node_gap": 10.0, "isolated_gap": 12.0,
        },
    }  # fmt: skip
    layout = graphlay.layout(graph, options=options)
    low, high = layout.bounds["min"], layout.bounds["max"]
    boxes = []
    for box, node in zip(picture.boxes, layout.nodes, strict=True):
        rows, width, height = measured[box.key]
        x, y = node["center"]["x"] - width / 2 - low["x"], node["center"]["y"] - height / 2 - low["y"]
        boxes.append(Placed(box, rows, x, y, width, height))
    arrows = []
    for arrow, edge in zip(picture.arrows, layout.edges, strict=True):
        arrows.append((arrow, tuple((p["x"] - low["x"], p["y"] - low["y"]) for p in edge["points"])))
    return boxes, arrows, high["x"] - low["x"], high["y"] - low["y"]


def _grid(picture: Picture, columns: int) -> tuple[list[Placed], list[Any], float, float]:
    """Boxes without arrows, in columns from the top."""
    measured = [(box, *_measured(box)) for box in picture.boxes]
    wide = max(width for _, _, width, _ in measured)
    tops = [0.0] * columns
    boxes = []
    for box, rows, _, height in measured:
        column = tops.index(min(tops))
        boxes.append(Placed(box, rows, column * (wide + 10), tops[column], wide, height))
        tops[column] += height + 8
    return boxes, [], columns * (wide + 10) - 10, max(tops) - 8
