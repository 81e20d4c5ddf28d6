"""One strip of the picture: time from left to right, and the sorts of lane drawn on it."""

from dataclasses import dataclass

from markupsafe import Markup

from prompter.review.account import clock
from prompter.review.marks import mark_at
from prompter.review.measures import Span

GUTTER = 62
TEXT_LANE = 15
BAND = 19
LETTER = 5.7
"""Widest average letter at the picture's 11 px, measured on common sans-serif fonts."""


@dataclass(frozen=True, slots=True)
class Form:
    """A size of the picture in CSS pixels.

    `letters`: longest text beside a mark; `depth`: lines of text a lane; `has_titles`: pointing at
    a thing shows it in full.
    """

    name: str
    width: int
    strip_s: int
    letters: int
    depth: int
    has_titles: bool


@dataclass(frozen=True, slots=True)
class Note:
    """A thing at one moment, with words beside its mark; shown on pointing at it if they do not fit."""

    t_s: float
    text: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """A thing that lasts, with a label inside. `style` is the CSS class of its box."""

    span: Span
    text: str
    style: str
    how: str = ""


class Strip:
    """Lanes are drawn from top to bottom; `y` is where the next one begins."""

    def __init__(self, form: Form, from_s: int, to_s: int, is_last: bool) -> None:
        self.form, self.from_s, self.to_s, self.is_last = form, from_s, to_s, is_last
        self.id = f"{form.name}-{from_s}"
        self.y = 0.0
        self._parts: list[Markup] = []
        self._strokes: dict[str, list[str]] = {}

    def svg(self, description: str) -> Markup:
        """The finished strip as an SVG element with its title and description."""
        head = Markup(
            '<svg viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img"'
            ' aria-labelledby="{id}-title {id}-text">'
            '<title id="{id}-title">Timeline from {a} to {b}</title>'
            '<desc id="{id}-text">{description}</desc>'
            '<defs><pattern id="{id}-hatch" width="6" height="6" patternUnits="userSpaceOnUse"'
            ' patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern></defs>'
        ).format(
            w=self.form.width,
            h=round(self.y + 1),
            id=self.id,
            description=description,
            a=clock(self.from_s),
            b=clock(self.to_s),
        )
        form = Markup('<path class="{}" d="{}"/>')
        strokes = Markup("").join(form.format(k, " ".join(d)) for k, d in self._strokes.items())
        return head + strokes + Markup("").join(self._parts) + Markup("</svg>")

    def here(self, t_s: float) -> bool:
        """True if this moment is drawn on this strip."""
        return self.from_s <= t_s < self.to_s or (self.is_last and t_s == self.to_s)

    def x(self, t_s: float) -> float:
        share = (t_s - self.from_s) / (self.to_s - self.from_s)
        return GUTTER + share * (self.form.width - GUTTER)

    def add(self, form: str, *values: object) -> None:
        """One piece of SVG; numbers are rounded and texts escaped."""
        shown = [f"{v:.1f}".removesuffix(".0") if isinstance(v, float) else v for v in values]
        self._parts.append(Markup(form).format(*shown))  # noqa: S704

    def add_mark(self, how: str, x: float, y: float) -> None:
        self._parts.append(mark_at(how, x, y))

    def stroke(self, style: str, path: str, *values: float) -> None:
        """A line or box under all texts; those of one style are one element."""
        shown = (f"{v:.1f}".removesuffix(".0") for v in values)
        self._strokes.setdefault(style, []).append(path.format(*shown))

    def plate(self, x: float, y: float, width: float) -> None:
        """White under a text that crosses a line or a pattern."""
        self.add('<rect class="plate" x="{}" y="{}" width="{}" height="13"/>', x, y - 6.5, width)

    def text(self, style: str, x: float, y: float, text: str, anchor: str = "start") -> None:
        """A text whose middle is at the height `y`."""
        where = "" if anchor == "start" else Markup(' text-anchor="{}"').format(anchor)
        self.add('<text class="{}" x="{}" y="{}"{}>{}</text>', style, x, y + 3.8, where, text)

    def axis(self) -> None:
        self.y += 16
        ticks = range(self.from_s, self.to_s + 1, max(10, (self.to_s - self.from_s) // 6))
        anchors = {self.from_s: "start", self.to_s: "end"}
        for t_s in ticks:
            self.text("axis", self.x(t_s), self.y - 8, clock(t_s), anchors.get(t_s, "middle"))
            self.stroke("axis-line", "M{} {}v-3", self.x(t_s), self.y)
        self.stroke("axis-line", "M{} {}H{}", GUTTER, self.y, self.form.width)
        self.y += 3

    def end_lane(self, name: str, height: float) -> None:
        """Writes the lane's name, draws the line under it, and goes on below."""
        self.text("lane", 0, self.y + min(height, BAND) / 2, name)
        bottom = self.y + height
        self.stroke("lane-line", "M0 {}H{}", bottom, self.form.width)
        self.y = bottom

    def notes(self, lane: str, notes: list[Note], style: str) -> None:
        """Words beside their marks, on as many lines as keep them apart; no lane if none is here."""
        notes = [note for note in notes if self.here(note.t_s)]
        free = [GUTTER - 12.0] * self.form.depth  # where each line of text is free from
        used = 0
        for note in notes:
            line = self._note(note, style, free)
            used = max(used, line + 1)
        if used:
            self.end_lane(lane, TEXT_LANE * used + 3)

    def _note(self, note: Note, style: str, free: list[float]) -> int:
        """Draws one note on the first line with room for it, and returns that line."""
        x, text = self.x(note.t_s), shorten(note.text, self.form.letters)
        lead, wide = 11 if note.how else 6, LETTER * len(text)
        is_left = x + lead + wide > self.form.width
        start = x - lead - wide if is_left else x - 7
        line = next((n for n, free_from in enumerate(free) if start >= free_from), None)
        if line is None:  # no room for words: the mark alone
            line, text = min(range(len(free)), key=free.__getitem__), ""
        y = self.y + TEXT_LANE * line + TEXT_LANE / 2 + 1
        is_whole = text == note.text or not self.form.has_titles
        if not is_whole:
            self.add("<g><title>{}</title>", f"{clock(note.t_s)} {note.text} {note.how}")
        if note.how:
            self.add_mark(note.how, x, y)
        elif is_whole:
            self.stroke("tick", "M{} {}v10", x, y - 5)
        else:  # what is pointed at is in the group
            self.add('<path class="tick" d="M{} {}v10"/>', x, y - 5)
        if text and is_left:
            self.text(style, x - lead + 2, y, text, "end")
        elif text:
            self.text(style, x + lead - 2, y, text)
        if not is_whole:
            self.add("</g>")
        free[line] = max(free[line], x + 8 if is_left or not text else x + lead + wide)
        return line

    def part_of(self, span: Span) -> Span | None:
        """The part of a span that is on this strip."""
        start_s, stop_s = max(span.from_s, self.from_s), min(span.to_s, self.to_s)
        return Span(start_s, stop_s) if stop_s > start_s or self.here(span.from_s) else None

    def band(self, lane: str, bars: list[Bar]) -> None:
        """Boxes that last; no lane if none is here."""
        shown = [(bar, part) for bar in bars if (part := self.part_of(bar.span)) is not None]
        for bar, part in shown:
            self._bar(bar, self.x(part.from_s), self.x(part.to_s))
        if shown:
            self.end_lane(lane, BAND)

    def _bar(self, bar: Bar, left: float, right: float) -> None:
        wide, middle = max(2.0, right - left), self.y + BAND / 2
        has_mark = bool(bar.how) and bar.span.from_s >= self.from_s and wide >= 14
        lead = 18 if has_mark else 4
        text = shorten(bar.text, int((wide - lead - 2) / LETTER))
        text = text if len(text) >= 3 else ""
        is_whole = (text == bar.text and has_mark == bool(bar.how)) or not self.form.has_titles
        fill = f"url(#{self.id}-hatch)" if bar.style == "bar-unknown" else ""
        if is_whole and not fill:
            self.stroke(bar.style, "M{} {}h{}v{}h{}z", left, self.y + 2, wide, BAND - 4, -wide)
        else:
            title = f"{clock(bar.span.from_s)} to {clock(bar.span.to_s)}: {bar.text} {bar.how}"
            self.add(
                '<g><title>{}</title><rect class="{}" x="{}" y="{}" width="{}" height="{}"{}/></g>',
                *(title, bar.style, left, self.y + 2, wide, BAND - 4),
                Markup(' fill="{}"').format(fill) if fill else "",
            )
        if has_mark:
            self.add_mark(bar.how, left + 9, middle)
        if text:
            if fill:
                self.plate(left + lead - 2, middle, LETTER * len(text) + 3)
            self.text(f"{bar.style}-text", left + lead, middle, text)


def shorten(text: str, letters: int) -> str:
    """The text, or its beginning with an ellipsis; empty if there is room for less than a letter."""
    if len(text) <= letters:
        return text
    return text[: letters - 1].rstrip() + "…" if letters > 1 else ""
