"""Prints the account as PDF, for a file that takes no page: the same facts in the same order."""

import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    ListFlowable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from prompter.review import timeline
from prompter.review.account import clock, refill, ten_lines, time_rows
from prompter.review.incident import Incident
from prompter.review.marks import LEGEND
from prompter.review.measures import Span
from prompter.review.page import CAUTIONS, banner, integrity, rows, when
from prompter.review.questions import questions

INK, SOFT, DEEP, LINE = map(HexColor, ("#16232a", "#3a4a52", "#0a4650", "#5c6f75"))
PLAIN = ParagraphStyle("plain", fontName="Helvetica", fontSize=9, leading=12, textColor=INK)
SMALL = ParagraphStyle("small", PLAIN, fontSize=7.5, leading=9.5, textColor=SOFT)
TITLE = ParagraphStyle("title", PLAIN, fontName="Helvetica-Bold", fontSize=15, leading=19)
HEAD = ParagraphStyle(
    "head", TITLE, fontSize=11, leading=14, spaceBefore=10, spaceAfter=4, keepWithNext=1
)
WIDTH = A4[0] - 28 * mm - 12
"""Of a line: the page within its margins, and the 6 points the frame keeps at each side."""
STRIP_S = 90
STRIPS_MAX = 24
ROW, GUTTER, LETTER, FONT = 11.0, 48.0, 7, "Helvetica"
"""Points: a lane's height for each line of words, its name's width, its letters."""
OUTSIDE = {"→": "to", "−": "-"}
"""Letters that the built-in fonts of PDF lack, in letters that they have."""

VERDICTS = {"within": "within the limit", "over": "OVER the limit", "under": "UNDER the limit", "": ""}


def as_pdf(incident: Incident) -> bytes:
    """The account on A4 pages. Letters outside Western Europe's are printed as '?'."""
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=14 * mm,
        rightMargin=14 * mm,
        topMargin=14 * mm,
        bottomMargin=16 * mm,
        title="Account of a breathing emergency",
        author="prompter",
        lang="en",
        invariant=1,
    )

    def foot(canvas: Canvas, _: object) -> None:
        canvas.setFont("Helvetica", 7.5)
        canvas.setFillColor(SOFT)
        canvas.drawString(14 * mm, 9 * mm, f"Incident {_letters(incident.id)}. Not a medical device.")
        canvas.drawRightString(A4[0] - 14 * mm, 9 * mm, f"page {canvas.getPageNumber()}")

    document.build(_story(incident), onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _story(i: Incident) -> list[Flowable]:
    warning = banner(i)
    facts = [
        ("Plan", i.plan.plan_line),
        ("Flow", i.plan.flow_line),
        ("Record", integrity(i).text),
        ("Journal", f"{i.name}, incident {i.id}"),
    ]
    if i.anonymous:
        facts.insert(2, ("Privacy", "Anonymous: names, addresses, numbers to call, sound and free notes are left out."))
    story: list[Flowable] = [_text(f"<b>{warning}</b>")] if warning else []
    story += [_text("Account of a breathing emergency", TITLE), _text(when(i)), _table(facts, (22, None))]
    story += [_text("What matters first", HEAD)]
    story.append(
        _table([(f"{n}. {l.term}", f"{l.lead} {l.text}") for n, l in enumerate(ten_lines(i), 1)], (48, None))
    )
    story.append(_text("Times and limits", HEAD))
    story.append(
        _table(
            [("Measured", "This time", "Limit")]
            + [
                (" ".join(filter(None, [f"{r.name}.", r.note])), f"{r.found} {VERDICTS[r.verdict]}", f"{r.limit} ({r.source})" if r.source else r.limit)
                for r in time_rows(i)
            ],
            (70, 42, None),
            heads=1,
        )
    )  # fmt: skip
    story += [_text("Picture", HEAD), _text(timeline.summary(i), SMALL), *_picture(i)]
    story += [_text("Questions to ask the family", HEAD), _list(questions(i), "1")]
    family = [f"{clock(f.t_s)}: {f.text} ({f.how})" for f in i.afterwards or []]
    family += [f"{clock(f.t_s)}: note: {f.text} ({f.how})" for f in i.notes]
    story += [_text("What the family said", HEAD), _list(family)] if family else []
    story += [_text("Refill, change, check", HEAD), _list(refill(i))]
    left = [f"{clock(f.t_s)}: {f.text}" for f in i.left_flow] or ["Nowhere that the record shows."]
    story += [_text("Where the caregiver left the flow", HEAD), _list(left)]
    faults = [f"{clock(f.t_s)}: {f.text}" for f in i.faults] or ["None recorded."]
    story += [_text("Faults of the prompter", HEAD), _list(faults), _text("Events", HEAD)]
    story.append(_text("How known: " + "; ".join(f"{how}: {told}" for how, (_, told) in LEGEND.items()) + ".", SMALL))
    story.append(
        _table(
            [("Time", "Who", "What", "How known")]
            + [(clock(e.t_s), e.row, f"{e.text} ({e.detail})" if e.detail else e.text, e.how) for e in rows(i.entries) if not e.minor],
            (14, 22, None, 22),
            heads=1,
        )
    )  # fmt: skip
    return [*story, _text("Cautions", HEAD), _list(CAUTIONS)]


def _letters(text: str) -> str:
    """The text in letters that the built-in fonts have."""
    for letter, instead in OUTSIDE.items():
        text = text.replace(letter, instead)
    return text.encode("cp1252", errors="replace").decode("cp1252")


def _text(text: str, style: ParagraphStyle = PLAIN) -> Paragraph:
    bold = text.startswith("<b>") and text.endswith("</b>")
    inner = escape(_letters(text[3:-4] if bold else text))
    return Paragraph(f"<b>{inner}</b>" if bold else inner, style)


def _list(items: Iterable[str], start: str = "") -> ListFlowable:
    kind = {"bulletType": "1"} if start else {"bulletType": "bullet", "bulletChar": "-"}
    return ListFlowable(
        [_text(item) for item in items], leftIndent=14, bulletFontSize=9, bulletFontName="Helvetica", **kind
    )  # fmt: skip


def _table(lines: list[tuple[str, ...]], widths_mm: tuple[int | None, ...], heads: int = 0) -> Table:
    fixed = sum(w * mm for w in widths_mm if w is not None)
    widths = [WIDTH - fixed if w is None else w * mm for w in widths_mm]
    cells = [
        [_text(f"<b>{c}</b>" if n < heads or (not heads and at == 0) else c) for at, c in enumerate(line)]
        for n, line in enumerate(lines)
    ]
    return Table(
        cells,
        widths,
        repeatRows=heads,
        splitInRow=1,  # a row may be taller than a page
        style=TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, LINE),
            ]
        ),
    )


# ---- the picture: lanes over time ------------------------------------------------------------------


def _picture(i: Incident) -> list[Flowable]:
    end_s, strip_s = max(i.duration_s, 1.0), float(STRIP_S)
    while end_s / strip_s > STRIPS_MAX:
        strip_s *= 2
    starts = [n * strip_s for n in range(int(-(-end_s // strip_s)))]
    lanes = _lanes(i)
    strips = [_strip(lanes, Span(start, start + strip_s)) for start in starts]
    return [part for strip in strips for part in (strip, Spacer(1, 4))]


@dataclass(frozen=True, slots=True)
class _Lane:
    """A line of the picture: moments with words, moments as ticks, and lengths as bars."""

    name: str
    words: list[tuple[float, str]] = field(default_factory=list)
    ticks: list[float] = field(default_factory=list)
    bars: list[Span] = field(default_factory=list)

    def within(self, part: Span) -> "_Lane":
        def here(t_s: float) -> bool:
            return part.from_s <= t_s < part.to_s

        bars = [Span(max(b.from_s, part.from_s), min(b.to_s, part.to_s)) for b in self.bars]
        return _Lane(
            self.name,
            [(t_s, text) for t_s, text in self.words if here(t_s)],
            list(filter(here, self.ticks)),
            [bar for bar in bars if bar.to_s > bar.from_s],
        )

    @property
    def there(self) -> bool:
        return bool(self.words or self.ticks or self.bars)


def _lanes(i: Incident) -> list[_Lane]:
    m = i.measures
    calls = ((m.call_asked_s, "asked for"), (m.on_speaker_s, "on speaker"))
    tube = [(e.t_s, f"{e.text('value')} ({e.text('how')})") for e in i.events if e.is_a("learned", what="tube")]
    numbers = [(e.t_s, f"{e.text('value')} %") for e in i.events if e.is_a("numbered", quantity="spo2")]
    return [
        _Lane("Breaths", ticks=m.breaths_s),
        _Lane("Suction", bars=m.suction),
        _Lane("Pushes", bars=m.pushes),
        _Lane("Tube", words=tube),
        _Lane("Call", words=[(t_s, text) for t_s, text in calls if t_s is not None]),
        _Lane("Oxygen", words=numbers),
        _Lane("Assumed", words=[(f.t_s, f.text) for f in i.assumed]),
        _Lane("Unheard", bars=i.deaf),
    ]


class _Placed(NamedTuple):
    """Words of a picture, the moment they stand at, and where they begin; in points."""

    x: float
    from_x: float
    text: str


def _placed(words: Iterable[tuple[float, str]]) -> list[list[_Placed]]:
    """The words in as many lines as they need, so that none stands over another or over its moment."""
    lines: list[list[_Placed]] = []
    free_from: list[float] = []
    for x, text in sorted(words):
        text = _fitting(text)
        long = stringWidth(text, FONT, LETTER)
        from_x = x - long - 2 if x + 2 + long > WIDTH else x + 2
        begin, end = min(x, from_x), max(x, from_x + long)
        line = next((n for n, free in enumerate(free_from) if free <= begin), len(lines))
        if line == len(lines):
            lines.append([])
            free_from.append(0.0)
        lines[line].append(_Placed(x, from_x, text))
        free_from[line] = end + 3
    return lines


def _fitting(text: str) -> str:
    """So much of it as half a line holds: then it stands on one side of its moment."""
    most = (WIDTH - GUTTER) / 2 - 4
    if stringWidth(text, FONT, LETTER) <= most:
        return text
    while text and stringWidth(f"{text}...", FONT, LETTER) > most:
        text = text[: min(len(text) - 1, 200)]
    return f"{text}..."


def _strip(lanes: list[_Lane], part: Span) -> Drawing:
    """The lanes of one stretch that show something; the breaths always."""
    lanes = [here for lane in lanes if (here := lane.within(part)).there or lane.name == "Breaths"]

    def x(t_s: float) -> float:
        return GUTTER + (t_s - part.from_s) / part.length_s * (WIDTH - GUTTER - 2)

    placed = [_placed([(x(t_s), _letters(text)) for t_s, text in lane.words]) for lane in lanes]
    heights = [ROW * max(1, len(words)) for words in placed]
    picture = Drawing(WIDTH, sum(heights) + ROW)

    def write(at_x: float, at_y: float, text: str, colour: HexColor, anchor: str = "start") -> None:
        shown = {"fontName": FONT, "fontSize": LETTER, "fillColor": colour, "textAnchor": anchor}
        picture.add(String(at_x, at_y + 3, text, **shown))

    for tick in range(7):
        anchor = "end" if tick == 6 else "middle" if tick else "start"
        t_s = part.from_s + tick * part.length_s / 6
        write(x(t_s), sum(heights), clock(t_s), SOFT, anchor)
    y = sum(heights)
    for lane, words, height in zip(lanes, placed, heights, strict=True):
        y -= height
        write(0, y + height - ROW, lane.name, SOFT)
        picture.add(Line(GUTTER, y, WIDTH, y, strokeColor=LINE, strokeWidth=0.3))
        for t_s in lane.ticks:
            picture.add(Line(x(t_s), y + 1, x(t_s), y + ROW - 2, strokeColor=DEEP, strokeWidth=2))
        for bar in lane.bars:
            wide = max(1.0, x(bar.to_s) - x(bar.from_s))
            picture.add(Rect(x(bar.from_s), y + 2, wide, ROW - 4, fillColor=DEEP, strokeColor=None))
        for line, in_line in enumerate(words):
            at_y = y + height - ROW * (line + 1)
            for word in in_line:
                picture.add(Line(word.x, at_y, word.x, y + height - 1, strokeColor=DEEP))
                write(word.from_x, at_y, word.text, INK)
    return picture
