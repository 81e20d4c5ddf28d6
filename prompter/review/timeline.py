"""Draws the picture of an incident: strips of time like lines of music, a lane for each voice."""

from collections.abc import Callable
from itertools import pairwise

from markupsafe import Markup

from prompter import limits
from prompter.review.account import at, clock, seconds
from prompter.review.entries import Entry
from prompter.review.incident import Incident, Prompt
from prompter.review.measures import Span
from prompter.review.strip import BAND, GUTTER, LETTER, Bar, Form, Note, Strip
from prompter.review.timed import Timed

WIDE = Form("wide", 816, 60, 46, 4, has_titles=True)
NARROW = Form("narrow", 350, 30, 30, 5, has_titles=False)

STRIPS_MAX = 24
"""A longer incident gets more seconds on each strip."""

GAP_SHOWN_S = 30
"""A longer time without a breath is written into the picture: the limit between breath prompts."""


def draw(incident: Incident, form: Form) -> Markup:
    """The whole picture: one SVG a strip, each described, so that paper breaks between them."""
    picture = _Picture(incident)
    end_s = max(incident.duration_s, 1.0)
    strip_s = form.strip_s
    while end_s / strip_s > STRIPS_MAX:
        strip_s *= 2
    starts = range(0, int(end_s) + (end_s % 1 > 0), strip_s)
    strips = [Strip(form, s, s + strip_s, s == starts[-1]) for s in starts]
    svgs = Markup("").join(picture.draw(strip) for strip in strips)
    return Markup('<div class="timeline {}">{}</div>').format(form.name, svgs)


def summary(incident: Incident) -> str:
    """What the whole picture shows, in words."""
    m = incident.measures
    return (
        f"From 0:00 to {clock(incident.duration_s)}: first breath paced {at(m.first_breath_s)}, "
        f"{len(m.breaths_s)} breaths in all; suction passes: {len(m.suction)}; "
        f"tube out {at(m.tube_out_s)}, proven open {at(m.tube_proven_s)}; "
        f"call asked for {at(m.call_asked_s)}, phone on speaker {at(m.on_speaker_s)}. "
        "The table of every event holds everything in the picture."
    )


class _Picture:
    """What goes into the lanes, the same for every strip."""

    def __init__(self, incident: Incident) -> None:
        m = self.m = incident.measures
        self.floor = incident.plan.get("patient", "act_below_saturation")
        entries = [e for e in incident.entries if 0 <= e.t_s <= m.end_s]
        events = [e for e in incident.events if 0 <= e.t_s <= m.end_s]
        moves = [e for e in events if e.kind == "moved"]
        prompts = [p for p in incident.prompts if p.spoken_s is not None]
        self.said = [_prompt(p) for p in prompts if p.role != "call"]
        told = {e.seq: e for e in entries if e.row == "caregiver" and not e.minor}
        self.heard = [
            _note(told[seq], _onset(e)) for e in events if (seq := e.fields["seq"]) in told
        ]
        self.steps = _bars([e for e in moves if e.text("machine") != "call"], m.end_s, _step)
        self.tube = _bars([e for e in events if e.is_a("learned", what="tube")], m.end_s, _tube)
        self.pushes = [Bar(s, f"pushing {seconds(s.length_s)}", "bar-push") for s in m.pushes]
        self.suction = [Bar(s, seconds(s.length_s), "bar-suction") for s in m.suction]
        calls = [e for e in moves if e.text("machine") == "call"]
        self.call = sorted(
            [_prompt(p) for p in prompts if p.role == "call"]
            + [Note(e.t_s, e.text("target"), e.text("how")) for e in calls],
            key=lambda note: note.t_s,
        )
        self.numbers = [
            (e.t_s, value, e.text("how"))
            for e in events
            if e.is_a("numbered", quantity="spo2")
            and (value := e.number("value")) is not None
            and 0 <= value <= 100
        ]
        self.unknown = [Bar(span, "nobody could be heard", "bar-unknown") for span in incident.deaf]
        for event in events:
            if event.kind == "resumed":
                from_s = max(0.0, event.t_s - (event.number("gap_ms") or 0.0) / 1000)
                span = Span(from_s, event.t_s)
                self.unknown.append(Bar(span, "nothing is known", "bar-unknown", "unknown"))
        self.faults = [_note(e, e.t_s) for e in entries if e.row == "trouble"]

    def draw(self, strip: Strip) -> Markup:
        strip.axis()
        strip.notes("Prompter", self.said, "said")
        strip.notes("Caregiver", self.heard, "heard")
        strip.band("Step", self.steps)
        strip.band("Tube", self.tube)
        self._breaths(strip)
        strip.band("Pushes", self.pushes)
        strip.band("Suction", self.suction)
        strip.notes("Call", self.call, "heard")
        self._oxygen(strip)
        strip.band("Unknown", self.unknown)
        strip.notes("Faults", self.faults, "heard")
        return strip.svg(self._description(strip))

    def _description(self, strip: Strip) -> str:
        """What this strip shows, in words; how a thing is known is told unless it was spoken."""
        breaths = sum(map(strip.here, self.m.breaths_s))
        lanes = {
            "Prompter": [n.text for n in self.said if strip.here(n.t_s)],
            "Caregiver": [_known(n.text, n.how) for n in self.heard if strip.here(n.t_s)],
            "Steps": [_known(b.text, b.how) for b in self.steps if strip.here(b.span.from_s)],
            "Tube": [_known(b.text, b.how) for b in self.tube if strip.here(b.span.from_s)],
            "Breaths": [str(breaths)] if breaths else [],
            "Suction": [b.text for b in self.suction if strip.here(b.span.from_s)],
            "Pushes": [b.text for b in self.pushes if strip.here(b.span.from_s)],
            "Call": [n.text for n in self.call if strip.here(n.t_s)],
            "Unknown": [b.text for b in self.unknown if strip.part_of(b.span)],
            "Oxygen": [f"{value:g} %" for t_s, value, _ in self.numbers if strip.here(t_s)],
        }
        told = [f"{lane}: {', '.join(texts)}." for lane, texts in lanes.items() if texts]
        return " ".join(told) or "Nothing new."

    def _breaths(self, strip: Strip) -> None:
        """A tick a breath; a long gap between two is measured in words."""
        middle = strip.y + BAND / 2
        for t_s in filter(strip.here, self.m.breaths_s):
            strip.stroke("breath", "M{} {}v{}", strip.x(t_s), strip.y + 3, BAND - 6)
        gaps = {Span(a, b) for a, b in pairwise(self.m.breaths_s) if b - a >= GAP_SHOWN_S}
        if self.m.longest_without_breath is not None:
            gaps.add(self.m.longest_without_breath)
        for gap in sorted(gaps, key=lambda gap: gap.from_s):
            part = strip.part_of(gap)
            if part is None or part.length_s <= 2:
                continue
            left, right = strip.x(part.from_s) + 2, strip.x(part.to_s) - 2
            strip.stroke("gap", "M{} {}H{}", left, middle, right)
            text = f"none for {seconds(gap.length_s)}"
            if right - left > LETTER * len(text) + 20:
                strip.plate(left + 8, middle, LETTER * len(text) + 4)
                strip.text("heard", left + 10, middle, text)
        strip.end_lane("Breaths", BAND)

    def _oxygen(self, strip: Strip) -> None:
        """Each saturation at its height, and the plan's floor."""
        shown = [number for number in self.numbers if strip.here(number[0])]
        if not shown:
            return
        low = min(70.0, *(value for _, value, _ in self.numbers), 100.0)
        top, height = strip.y, 40

        def y(value: float) -> float:
            return top + 16 + (100 - value) / (100 - low) * (height - 24)

        if isinstance(self.floor, int | float) and low <= self.floor <= 100:
            strip.stroke("floor", "M{} {}H{}", GUTTER, y(self.floor), strip.form.width)
            strip.text("lane", 0, top + 30, f"floor {self.floor:g}")
        for t_s, value, how in shown:
            x = strip.x(t_s)
            is_left = x + 44 > strip.form.width
            strip.plate(x - 40 if is_left else x + 9, y(value), 31)
            text_x, anchor = (x - 11, "end") if is_left else (x + 11, "start")
            strip.text("heard", text_x, y(value), f"{value:g} %", anchor)
            strip.add_mark(how, x, y(value))
        strip.end_lane("Oxygen", height)


def _known(text: str, how: str) -> str:
    return text if how == "spoken" else f"{text} ({how})"


def _note(entry: Entry, t_s: float) -> Note:
    text = entry.text.strip("“”")
    return Note(t_s, text, entry.how)


def _prompt(prompt: Prompt) -> Note:
    return Note(prompt.t_s if prompt.spoken_s is None else prompt.spoken_s, prompt.text)


def _onset(event: Timed) -> float:
    """When somebody began to speak, rather than when it was understood."""
    onset_ms = event.number("onset_ms")
    waited_ms = event.fields["mono_ms"] - onset_ms if onset_ms is not None else 0
    is_sane = 0 <= waited_ms <= 2 * limits.UTTERANCE_MAX_MS
    return max(0.0, event.t_s - waited_ms / 1000) if is_sane else event.t_s


def _bars(events: list[Timed], end_s: float, tell: Callable[[Timed], tuple[str, str]]) -> list[Bar]:
    """Each state from its event to the next one."""
    ends = [*(e.t_s for e in events), end_s][1:]
    return [
        Bar(Span(e.t_s, end), *tell(e), e.text("how"))
        for e, end in zip(events, ends, strict=True)
        if end > e.t_s
    ]


def _step(event: Timed) -> tuple[str, str]:
    return event.text("target").replace("-", " "), "bar-step"


def _tube(event: Timed) -> tuple[str, str]:
    value = event.text("value")
    styles = {"proven open": "bar-open", "out": "bar-out"}
    return "in, unknown" if value == "unknown" else value, styles.get(value, "bar-unknown")
