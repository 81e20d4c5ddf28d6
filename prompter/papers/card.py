"""The card for the wall: one A4 page with call, numbers, steps in short, and the words to say."""

import io
import itertools
from collections.abc import Iterable
from dataclasses import dataclass

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from prompter.care.card import CAUTIONS, DEMONSTRATION
from prompter.care.plan import Plan
from prompter.errors import CannotDo
from prompter.flow.table import BUILT_IN, Stand, Table
from prompter.papers.layout import A4_PT
from prompter.papers.route import anywhere_route, main_route, reason_route, spoken, start_memory

READ_PT = (15.0, 11.0)
"""Type of what is read from a metre: as large as fits, never below the second. Capitals of 11 pt are
2.8 mm high, 1/360 of a metre; 1/200 to 1/400 of the distance is common practice for signs, no source."""
SMALL_PT = 8.0
MARGIN = 26.0
WIDTH, HEIGHT = A4_PT
BOLD, PLAIN = "Helvetica-Bold", "Helvetica"
_WAYS = {
    "open": "Mouth and nose lead to the lungs.", "hard": "Way above is narrow: neck hole first.",
    "none": "NECK-ONLY: mouth and nose lead nowhere.",
}  # fmt: skip


@dataclass(frozen=True)
class Block:
    """A heading and its lines; `columns` of them side by side."""

    title: str
    lines: tuple[str, ...]
    columns: int = 1


def card_pdf(table: Table, plan: Plan | None, invented: bool, foot: list[str], not_approved: bool) -> bytes:
    """The page as PDF. Raises CannotDo if a letter cannot be printed, or the page is too full."""
    blocks = [*_call(plan), *_numbers(table, plan), *_routes(table), *_words(table)]
    _printable([table.flow.title, *foot, *(line for block in blocks for line in (block.title, *block.lines))])
    warning = DEMONSTRATION if invented else "NOT APPROVED BY A CLINICIAN: do not use." if not_approved else ""
    size = READ_PT[0]
    while size >= READ_PT[1]:
        content = _Page(table, plan, warning, foot, size)
        if content.draw(blocks):
            return content.pdf()
        size -= 0.25
    raise CannotDo("this is more than one page holds.", table.flow.title, "Shorten the flow's first wordings or the plan's texts.")


# ---- what stands on it ---------------------------------------------------------------------------


def _call(plan: Plan | None) -> list[Block]:
    if plan is None:
        return [Block("Call: your emergency number", ("There is no care plan: fill in address and numbers by hand.",))]
    phone = plan.phone
    door = " ".join(text.rstrip(".") + "." for text in (phone.door, phone.pets) if text)
    return [
        Block(
            f"Call {phone.number}, on speaker",
            (f"Address: {', '.join(phone.address)}. {door}", f"Call back: {phone.call_back}. Clinician: {plan.clinician.name}, {plan.clinician.phone}."),
        )
    ]  # fmt: skip


def _numbers(table: Table, plan: Plan | None) -> list[Block]:
    if plan is None:
        return []
    tube, suction = plan.tube, plan.suction
    told = [f"Suction depth: {suction.depth_cm:g} cm", f"Suction: {suction.seconds:g} s at most, {suction.catheter_fr:g} Fr"]
    if tube is None:
        told.append("Tube: none")
    else:
        smaller = tube.smaller_spare_inside_mm
        told.append(f"Tube: {tube.inside_mm:g} mm inside")
        told.append(f"Smaller tube: {smaller:g} mm" if smaller is not None else "Smaller tube: none")
        told.append(f"Cuff: {tube.cuff_ml:g} mL of {tube.cuff}" if tube.cuff_ml is not None else "Cuff: none")
        if not tube.change_allowed_at_home:
            told.append("NOT changed at home")
    saline = plan.rescue.saline_ml
    told.append(f"Saline: {saline:g} mL" if saline is not None else "Saline: not ordered")
    told.append(f"Breaths: {table.variant.numbers['breaths_per_minute']:g} a minute")
    if plan.patient.act_below_saturation is not None:
        told.append(f"Act below {plan.patient.act_below_saturation} %")
    return [Block(f"{plan.patient.name}'s numbers. {_WAYS[plan.airway.way_to_lungs]}", tuple(told), 3)]


def _routes(table: Table) -> list[Block]:
    main = main_route(table)
    if table.flow.flow != table.flow.base:
        own = [stand for stand in main if stand.name in table.flow.covered_steps]
        return [Block(f"{table.flow.title}, step by step", (*_steps(table, own), *_goes_on(table, main[len(own) :])), 2)]
    answers, change = reason_route(table, main)
    blocks = [Block(f"{table.flow.title}, step by step until it is better", _steps(table, main), 2)]
    taught = {name: answer.wordings[0] for name, answer in table.flow.answers.items()}
    if change:
        blocks.append(Block(" / ".join(f"“{taught[a]}”" for a in answers), _steps(table, change), 2))
    for answer in ("not breathing", "came out"):
        route = anywhere_route(table, answer) if answer in table.flow.everywhere else []
        own = list(itertools.takewhile(lambda stand: stand not in (*main, *change), route))
        lines = _steps(table, own)
        if rest := _steps(table, route[len(own) : len(own) + 1]):
            lines += (f"Then as above from “{rest[0].partition('  ')[2]}”",)
        if lines:
            blocks.append(Block(f"“{taught[answer]}”", lines, 2))
    return blocks


def _goes_on(table: Table, rest: list[Stand]) -> tuple[str, ...]:
    """Where a side flow leads to if nothing special is said."""
    base = table.flow.joined[table.flow.base].title
    return (f"Then as in “{base}” from “{rest[0].title.rstrip('.')}”",) if rest else ()


def _steps(table: Table, stands: Iterable[Stand]) -> tuple[str, ...]:
    memory, told = start_memory(table), []
    for stand in stands:
        if text := " ".join(spoken(stand, memory)):
            told.append(text)
    return tuple(f"{number}  {text}" for number, text in enumerate(told, 1))


def _words(table: Table) -> list[Block]:
    flow = table.flow
    anywhere = [name for name in (*flow.everywhere, *BUILT_IN) if name in flow.answers]
    covered = set(flow.covered_steps)
    mine = {answer for stand in table.stands.values() if stand.name in covered for answer in stand.own_answers}
    own = [name for name in flow.answers if name in mine and name not in anywhere]
    return [
        Block("Say, as an answer", tuple(flow.answers[name].wordings[0] for name in own), 4),
        Block("Say at any time", tuple(flow.answers[name].wordings[0] for name in anywhere), 4),
    ]


def _printable(texts: list[str]) -> None:
    for text in texts:
        for sign in text:
            try:
                sign.encode("cp1252")
            except UnicodeEncodeError:
                raise CannotDo(
                    f"“{sign}” in “{text}” cannot be printed.", "the card", "Write it with Western European letters."
                ) from None


# ---- on the page ---------------------------------------------------------------------------------


class _Page:
    """Draws from the top down; `draw` is False as soon as something does not fit."""

    def __init__(self, table: Table, plan: Plan | None, warning: str, foot: list[str], size: float) -> None:
        self._file, self.size = io.BytesIO(), size
        self.canvas = Canvas(self._file, pagesize=A4_PT, invariant=1)
        self.canvas.setTitle(f"{table.flow.title}: card for the wall")
        self.y = HEIGHT - MARGIN
        self._warning, self._foot = warning, foot
        self._title = f"{table.flow.title}: {plan.patient.name}" if plan else table.flow.title

    def draw(self, blocks: list[Block]) -> bool:
        if self._warning:
            self._banner(self._warning)
        self._line(self._title, BOLD, 22, MARGIN)
        for number, block in enumerate(blocks):
            self._block(block, 20 if number == 0 else self.size)
        floor = self._bottom()
        return self.y >= floor

    def pdf(self) -> bytes:
        self.canvas.showPage()
        self.canvas.save()
        return self._file.getvalue()

    def _banner(self, text: str) -> None:
        self.canvas.setFillGray(0)
        self.canvas.rect(MARGIN, self.y - 20, WIDTH - 2 * MARGIN, 20, stroke=0, fill=1)
        self.canvas.setFillGray(1)
        self.canvas.setFont(BOLD, 13)
        self.canvas.drawCentredString(WIDTH / 2, self.y - 15, text)
        self.canvas.setFillGray(0)
        self.y -= 24

    def _line(self, text: str, font: str, size: float, x: float) -> None:
        self.y -= size
        self.canvas.setFont(font, size)
        self.canvas.drawString(x, self.y, text)
        self.y -= size * 0.22

    def _block(self, block: Block, title_pt: float) -> None:
        self.y -= self.size * 0.3
        self.canvas.setLineWidth(0.8)
        self.canvas.line(MARGIN, self.y, WIDTH - MARGIN, self.y)
        for row in simpleSplit(block.title, BOLD, title_pt, WIDTH - 2 * MARGIN):
            self._line(row, BOLD, title_pt, MARGIN)
        gap = 10.0
        wide = (WIDTH - 2 * MARGIN - gap * (block.columns - 1)) / block.columns
        columns = _columns([self._rows(line, wide) for line in block.lines], block.columns)
        top, lowest = self.y, self.y
        for number, rows in enumerate(columns):
            self.y = top
            for row in rows:
                self._line(row, PLAIN, self.size, MARGIN + number * (wide + gap))
            lowest = min(lowest, self.y)
        self.y = lowest

    def _rows(self, text: str, wide: float) -> list[str]:
        number, _, rest = text.partition("  ")
        if not rest:
            return simpleSplit(text, PLAIN, self.size, wide)
        inset = stringWidth("00  ", PLAIN, self.size)
        rows = simpleSplit(rest, PLAIN, self.size, wide - inset)
        return [f"{number}  {rows[0]}", *(f"     {row}" for row in rows[1:])]

    def _bottom(self) -> float:
        texts = [*CAUTIONS, *self._foot]
        rows = simpleSplit(" ".join(texts), PLAIN, SMALL_PT, WIDTH - 2 * MARGIN)
        self.canvas.setFont(PLAIN, SMALL_PT)
        top = MARGIN - 6 + len(rows) * SMALL_PT * 1.2
        for number, row in enumerate(rows, 1):
            self.canvas.drawString(MARGIN, top - number * SMALL_PT * 1.2, row)
        return top + 2


def _columns(items: list[list[str]], count: int) -> list[list[str]]:
    """Whole items, one column after the other, as even as it goes."""
    tall = -(-sum(map(len, items)) // count)
    while True:
        columns: list[list[str]] = [[]]
        for rows in items:
            if columns[-1] and len(columns[-1]) + len(rows) > tall:
                columns.append([])
            columns[-1] += rows
        if len(columns) <= count:
            return columns
        tall += 1
