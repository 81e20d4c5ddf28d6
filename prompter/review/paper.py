"""Prints the account as PDF, for a file that takes no page: the same facts in the same order."""

import io
from collections.abc import Iterable
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
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
    return [part for s in starts for part in (_strip(i, s, s + strip_s), Spacer(1, 4))]


def _strip(i: Incident, from_s: float, to_s: float) -> Drawing:
    """Breaths, suction, pushes, call, tube and saturation of one stretch, each in its lane."""
    m = i.measures
    lanes = ("Breaths", "Suction", "Pushes", "Call", "Tube", "Oxygen %")
    left, row, top = 48.0, 11.0, 12.0
    picture = Drawing(WIDTH, top + row * len(lanes))

    def x(t_s: float) -> float:
        return left + (t_s - from_s) / (to_s - from_s) * (WIDTH - left - 2)

    def y(lane: int) -> float:
        return row * (len(lanes) - 1 - lane)

    def word(t_s: float, lane: int, text: str) -> None:
        if from_s <= t_s < to_s:
            at_x = min(x(t_s), WIDTH - 4.0 * len(text))
            picture.add(Line(x(t_s), y(lane), x(t_s), y(lane) + row - 1, strokeColor=DEEP))
            picture.add(String(at_x + 2, y(lane) + 3, _letters(text), fontName="Helvetica", fontSize=7, fillColor=INK))

    for lane, name in enumerate(lanes):
        picture.add(String(0, y(lane) + 3, name, fontName="Helvetica", fontSize=7, fillColor=SOFT))
        picture.add(Line(left, y(lane), WIDTH, y(lane), strokeColor=LINE, strokeWidth=0.3))
    for part in range(7):
        t_s = from_s + part * (to_s - from_s) / 6
        anchor = "end" if part == 6 else "middle" if part else "start"
        picture.add(String(x(t_s), row * len(lanes) + 3, clock(t_s), fontName="Helvetica", fontSize=7, fillColor=SOFT, textAnchor=anchor))
    for t_s in m.breaths_s:
        if from_s <= t_s < to_s:
            picture.add(Line(x(t_s), y(0) + 1, x(t_s), y(0) + row - 2, strokeColor=DEEP, strokeWidth=2))
    for lane, spans in ((1, m.suction), (2, m.pushes)):
        for span in spans:
            _bar(picture, span, (from_s, to_s), x, y(lane), row)
    for t_s, text in ((m.call_asked_s, "asked for"), (m.on_speaker_s, "on speaker")):
        if t_s is not None:
            word(t_s, 3, text)
    for event in i.events:
        if event.is_a("learned", what="tube"):
            word(event.t_s, 4, event.text("value"))
        elif event.is_a("numbered", quantity="spo2"):
            word(event.t_s, 5, event.text("value"))
    return picture  # fmt: skip


def _bar(picture: Drawing, span: Span, part: tuple[float, float], x, y: float, row: float) -> None:
    a, b = max(span.from_s, part[0]), min(span.to_s, part[1])
    if b > a:
        picture.add(Rect(x(a), y + 2, max(1.0, x(b) - x(a)), row - 4, fillColor=DEEP, strokeColor=None))
