"""Draws the picture of an incident: strips of time like a line of music, with a lane for each sort of thing."""

from dataclasses import dataclass
from itertools import pairwise

from markupsafe import Markup

from prompter.review.account import at, clock, seconds
from prompter.review.entries import Entry
from prompter.review.incident import Incident
from prompter.review.marks import mark
from prompter.review.measures import Span

GUTTER = 62
TEXT_LANE = 15
BAND = 19
STRIPS_MAX = 24
GAP_SHOWN_S = 30
"""A longer time without a breath is written into the picture (limit between breath prompts, CLINICAL 10)."""


@dataclass(frozen=True, slots=True)
class Form:
    """A size of the picture in CSS pixels. `letters`: longest text beside a mark; `depth`: lines of text a lane."""

    name: str
    width: int
    strip_s: int
    letters: int
    depth: int


WIDE = Form("wide", 816, 60, 46, 4)
NARROW = Form("narrow", 350, 30, 30, 5)


@dataclass(frozen=True, slots=True)
class _Note:
    """A thing at one moment, with words beside its mark."""

    t_s: float
    text: str
    how: str = ""
    full: str = ""


@dataclass(frozen=True, slots=True)
class _Bar:
    """A thing that lasts, with a label inside. `style` is the CSS class of its box."""

    span: Span
    text: str
    style: str
    how: str = ""


def draw(incident: Incident, form: Form) -> Markup:
    """The whole picture: one SVG a strip, so that paper breaks between them, each with a title and a description."""
    return _Picture(incident, form).strips()


def summary(incident: Incident) -> str:
    """What the whole picture shows, in words."""
    m = incident.measures
    return (
        f"From 0:00 to {clock(max(incident.duration_s, 0.0))}: first breath paced {at(m.first_breath_s)}, {len(m.breaths_s)} breaths "
        f"in all; suction passes: {len(m.suction)}; tube out {at(m.tube_out_s)}, proven open {at(m.tube_proven_s)}; call asked for "
        f"{at(m.call_asked_s)}, phone on speaker {at(m.on_speaker_s)}. The table of every event holds everything in the picture."
    )


class _Picture:
    """Builds one strip after another, each from top to bottom; `self.y` is where its next lane begins."""

    def __init__(self, incident: Incident, form: Form) -> None:
        self.i, self.form = incident, form
        self.end_s = max(incident.duration_s, 1.0)
        self.strip_s = form.strip_s
        while self.end_s / self.strip_s > STRIPS_MAX:
            self.strip_s *= 2
        self.parts: list[Markup] = []
        self.y = 0.0
        self.from_s = 0.0
        entries = [e for e in incident.entries if 0 <= e.t_s <= self.end_s]
        self.said = [_Note(e.t_s, e.text.strip("“”"), full=e.text) for e in entries if e.kind == "say" and e.row == "prompter"]
        self.heard = [_note(e) for e in entries if e.row == "caregiver" and not e.minor]
        self.steps = self._bars([e for e in entries if e.row == "step" and e.kind == "moved"])
        self.tube = self._tube_bars()
        self.call = [_note(e) for e in entries if e.kind == "moved" and e.row == "call"]
        self.reminders = [e for e in entries if e.kind == "say" and e.row == "call"]
        self.numbers = [e for e in incident.events if e.is_a("numbered", quantity="spo2") and 0 <= (e.number("value") or -1) <= 100]
        self.faults = [_Note(e.t_s, e.text, full=f"{e.text} {e.detail}") for e in entries if e.row == "trouble"]

    def strips(self) -> Markup:
        svgs = []
        while self.from_s < self.end_s:
            self.parts, self.y = [], 0.0
            self._strip()
            svgs.append(self._svg())
            self.from_s += self.strip_s
        return Markup('<div class="timeline {}">{}</div>').format(self.form.name, Markup("").join(svgs))

    def _svg(self) -> Markup:
        name = self._id()
        head = Markup(
            '<svg viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img" aria-labelledby="{n}-title {n}-text">'
            '<title id="{n}-title">Timeline from {a} to {b}</title><desc id="{n}-text">{desc}</desc>'
            '<defs><pattern id="{n}-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><path class="hatch" d="M0 0V6"/></pattern></defs>'
        ).format(
            w=self.form.width, h=round(self.y), n=name, desc=self._description(),
            a=clock(self.from_s), b=clock(min(self.end_s, self.from_s + self.strip_s)),
        )  # fmt: skip
        return head + Markup("").join(self.parts) + Markup("</svg>")

    def _id(self) -> str:
        return f"{self.form.name}-{int(self.from_s)}"

    def _description(self) -> str:
        """What this strip shows, in words."""
        lanes = {
            "Prompter": [n.text for n in self.said if self._here(n.t_s)],
            "Caregiver": [f"{n.text} ({n.how})" if n.how else n.text for n in self.heard if self._here(n.t_s)],
            "Steps": [f"{b.text} ({b.how})" for b in self.steps if self._here(b.span.from_s)],
            "Tube": [f"{b.text} ({b.how})" for b in self.tube if self._here(b.span.from_s)],
            "Breaths": [str(n)] if (n := sum(map(self._here, self.i.measures.breaths_s))) else [],
            "Suction": [seconds(s.length_s) for s in self.i.measures.suction if self._here(s.from_s)],
            "Call": [n.text for n in self.call if self._here(n.t_s)],
            "Oxygen": [f"{e.text('value')} %" for e in self.numbers if self._here(e.t_s)],
        }
        return " ".join(f"{lane}: {', '.join(texts)}." for lane, texts in lanes.items() if texts) or "Nothing new."

    # ---- strips and lanes ---------------------------------------------------------------------

    def _strip(self) -> None:
        m = self.i.measures
        self._axis()
        self._notes("Prompter", self.said, "said")
        self._notes("Caregiver", self.heard, "heard")
        self._band("Step", self.steps)
        self._band("Tube", self.tube)
        self._beats("Breaths", m.breaths_s)
        self._band("Pushes", [_Bar(s, f"pushing {seconds(s.length_s)}", "bar-push") for s in m.pushes])
        self._band("Suction", [_Bar(s, seconds(s.length_s), "bar-suction") for s in m.suction])
        self._call()
        self._saturation()
        self._notes("Faults", self.faults, "heard")
        self.y += 1

    def _axis(self) -> None:
        self.y += 16
        every_s = max(10, self.strip_s // 6)
        top = self.y
        for t_s in range(int(self.from_s), int(self.from_s + self.strip_s) + 1, every_s):
            x = self._x(t_s)
            anchor = "end" if t_s >= self.from_s + self.strip_s else "start" if t_s == int(self.from_s) else "middle"
            self._add('<text class="axis" x="{}" y="{}" text-anchor="{}">{}</text>', x, top - 4, anchor, clock(t_s))
        self._add('<path class="axis-line" d="M{} {}H{}"/>', GUTTER, top, self.form.width)
        for t_s in range(int(self.from_s), int(self.from_s + self.strip_s) + 1, every_s):
            self._add('<path class="axis-line" d="M{} {}v-3"/>', self._x(t_s), top)
        self.y += 3

    def _label(self, text: str, height: float) -> None:
        self._add('<text class="lane" x="0" y="{}">{}</text>', self.y + min(height, BAND) / 2 + 4, text)
        self._add('<path class="lane-line" d="M{} {}H{}"/>', 0, self.y + height, self.form.width)
        self.y += height

    def _notes(self, lane: str, notes: list[_Note], style: str) -> None:
        """Words beside their marks, on as many lines as keep them apart."""
        if not any(self._here(note.t_s) for note in notes):
            return
        free = [GUTTER - 12.0] * self.form.depth  # where each line of text is free from
        used = 1
        top = self.y
        for note in notes:
            if not self._here(note.t_s):
                continue
            x = self._x(note.t_s)
            text = note.text if len(note.text) <= self.form.letters else note.text[: self.form.letters - 1].rstrip() + "…"
            lead, wide = 11 if note.how else 6, 5.6 * len(text)
            left = x + lead + wide > self.form.width
            start = x - lead - wide if left else x - 7
            line = next((n for n, free_from in enumerate(free) if start >= free_from), None)
            if line is None:  # no room for words: the mark alone
                line, text = min(range(len(free)), key=free.__getitem__), ""
            y = top + TEXT_LANE * line + TEXT_LANE / 2 + 1
            self._add("<g><title>{} {}</title>", clock(note.t_s), f"{note.full or note.text} {note.how}".strip())
            if note.how:
                self.parts.append(mark(note.how, x, y))
            else:
                self._add('<path class="tick" d="M{} {}v10"/>', x, y - 5)
            if text:
                anchor, text_x = ("end", x - lead + 2) if left else ("start", x + lead - 2)
                self._add('<text class="{}" x="{}" y="{}" text-anchor="{}">{}</text>', style, text_x, y + 3.8, anchor, text)
            self._add("</g>")
            free[line] = max(free[line], x + 8 if left or not text else x + lead + wide)
            used = max(used, line + 1)
        self._label(lane, TEXT_LANE * used + 3)

    def _band(self, lane: str, bars: list[_Bar]) -> None:
        ends_s = self.from_s + self.strip_s
        if not any(bar.span.from_s < ends_s and bar.span.to_s > self.from_s for bar in bars):
            return
        for bar in bars:
            start_s, stop_s = max(bar.span.from_s, self.from_s), min(bar.span.to_s, self.from_s + self.strip_s)
            if stop_s < start_s or not (stop_s > start_s or self._here(bar.span.from_s)):
                continue
            x, wide = self._x(start_s), max(2.0, self._x(stop_s) - self._x(start_s))
            fill = f' fill="url(#{self._id()}-hatch)"' if bar.style == "bar-unknown" else ""
            self._add("<g><title>{} to {}: {} {}</title>", clock(bar.span.from_s), clock(bar.span.to_s), bar.text, bar.how)
            self._add(
                '<rect class="{}" x="{}" y="{}" width="{}" height="{}"' + fill + "/>", bar.style, x, self.y + 2, wide, BAND - 4
            )
            begins = bar.span.from_s >= self.from_s
            lead = 18 if bar.how and begins and wide >= 14 else 4
            if lead == 18:
                self.parts.append(mark(bar.how, x + 9, self.y + BAND / 2))
            room = int((wide - lead - 2) / 5.7)
            if room >= 3:
                text = bar.text if len(bar.text) <= room else bar.text[: room - 1] + "…"
                if bar.style == "bar-unknown":
                    self._add(
                        '<rect class="plate" x="{}" y="{}" width="{}" height="{}"/>', x + lead - 2, self.y + 4, 5.7 * len(text) + 3, BAND - 8
                    )
                self._add('<text class="{}-text" x="{}" y="{}">{}</text>', bar.style, x + lead, self.y + BAND / 2 + 3.8, text)
            self._add("</g>")
        self._label(lane, BAND)

    def _beats(self, lane: str, times_s: list[float]) -> None:
        """A tick a breath; a long gap between two is measured in words."""
        if not times_s and self.i.measures.longest_without_breath is None:
            return
        for t_s in times_s:
            if self._here(t_s):
                self._add('<path class="breath" d="M{} {}v{}"/>', self._x(t_s), self.y + 3, BAND - 6)
        gap = self.i.measures.longest_without_breath
        gaps = [Span(a, b) for a, b in pairwise(times_s) if b - a >= GAP_SHOWN_S]
        if gap is not None and gap not in gaps:
            gaps.append(gap)
        for gap in gaps:
            start_s, stop_s = max(gap.from_s, self.from_s), min(gap.to_s, self.from_s + self.strip_s)
            if stop_s - start_s > 2:
                x, to = self._x(start_s) + 2, self._x(stop_s) - 2
                self._add('<path class="gap" d="M{} {}H{}"/>', x, self.y + BAND / 2, to)
                if to - x > 90:
                    text = f"none for {seconds(gap.length_s)}"
                    self._add('<rect class="plate" x="{}" y="{}" width="{}" height="14"/>', x + 8, self.y + 3, 5.7 * len(text) + 6)
                    self._add('<text class="heard" x="{}" y="{}">{}</text>', x + 11, self.y + BAND / 2 + 3.8, text)
        self._label(lane, BAND)

    def _call(self) -> None:
        told = [*(_Note(e.t_s, e.text.strip("“”")) for e in self.reminders), *self.call]
        self._notes("Call", sorted(told, key=lambda note: note.t_s), "heard")

    def _saturation(self) -> None:
        if not any(self._here(e.t_s) for e in self.numbers):
            return
        height, low = 40, min(70.0, *(e.number("value") or 0 for e in self.numbers))

        def y(value: float) -> float:
            return self.y + 16 + (100 - value) / max(1.0, 100 - low) * (height - 20)

        floor = self.i.plan.get("patient", "act_below_saturation")
        if isinstance(floor, int | float) and low <= floor <= 100:
            self._add('<path class="floor" d="M{} {}H{}"/>', GUTTER, y(floor), self.form.width)
            self._add('<text class="lane" x="0" y="{}">floor {}</text>', self.y + 34, floor)
        for event in self.numbers:
            if self._here(event.t_s):
                value, x = event.number("value") or 0.0, self._x(event.t_s)
                self.parts.append(mark(event.text("how"), x, y(value)))
                left = x + 44 > self.form.width
                self._add('<rect class="plate" x="{}" y="{}" width="30" height="12"/>', x - 40 if left else x + 9, y(value) - 6)
                self._add(
                    '<text class="heard" x="{}" y="{}" text-anchor="{}">{:g} %</text>',
                    x - 11 if left else x + 11, y(value) + 3.8, "end" if left else "start", value,
                )  # fmt: skip
        self._label("Oxygen", height)

    # ---- the data as bars ---------------------------------------------------------------------

    def _bars(self, moves: list[Entry]) -> list[_Bar]:
        ends = [*(e.t_s for e in moves[1:]), self.end_s]
        return [
            _Bar(Span(e.t_s, end), e.text.rpartition("→")[2].strip().replace("-", " "), "bar-step", e.how)
            for e, end in zip(moves, ends, strict=True)
            if end > e.t_s
        ]

    def _tube_bars(self) -> list[_Bar]:
        known = [e for e in self.i.events if e.is_a("learned", what="tube") and 0 <= e.t_s <= self.end_s]
        styles = {"proven open": "bar-open", "out": "bar-out"}
        ends = [*(e.t_s for e in known[1:]), self.end_s]
        return [
            _Bar(Span(e.t_s, end), {"unknown": "in, unknown"}.get(e.text("value"), e.text("value")), styles.get(e.text("value"), "bar-unknown"), e.text("how"))
            for e, end in zip(known, ends, strict=True)
            if end > e.t_s
        ]  # fmt: skip

    # ---- drawing ------------------------------------------------------------------------------

    def _here(self, t_s: float) -> bool:
        last = self.from_s + self.strip_s >= self.end_s
        return self.from_s <= t_s < self.from_s + self.strip_s or (last and t_s == self.from_s + self.strip_s)

    def _x(self, t_s: float) -> float:
        return GUTTER + (t_s - self.from_s) / self.strip_s * (self.form.width - GUTTER)

    def _add(self, form: str, *values: object) -> None:
        """One piece of SVG; numbers are rounded and texts escaped."""
        shown = [f"{v:.1f}".removesuffix(".0") if type(v) is float and "{:" not in form else v for v in values]
        self.parts.append(Markup(form).format(*shown))  # noqa: S704


def _note(entry: Entry) -> _Note:
    text = entry.text.rpartition("→")[2].strip() if entry.kind == "moved" else entry.text.strip("“”")
    return _Note(entry.t_s, text, entry.how, f"{entry.text} {entry.detail}")
