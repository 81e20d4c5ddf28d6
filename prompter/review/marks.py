"""The marks that tell how a thing is known: by shape, outline and letter, never by colour alone."""

from markupsafe import Markup

LEGEND = {
    "spoken": ("S", "said by the caregiver and believed"),
    "keyed": ("K", "pressed as a key or pedal"),
    "assumed": ("A", "nobody answered: the prompter assumed it"),
    "timed": ("T", "it followed by the clock or the step's end"),
    "not believed": ("?", "heard, but not believed or not taken"),
    "unknown": ("U", "the prompter had stopped or could not hear: nothing is known"),
}

_SHAPES = {
    "spoken": '<circle class="mark-full" cx="{x}" cy="{y}" r="6.5"/>',
    "keyed": '<rect class="mark-full" x="{left}" y="{top}" width="12" height="12"/>',
    "assumed": '<path class="mark-open mark-dashed" d="M{x} {high}L{far} {y}L{x} {low}L{near} {y}Z"/>',
    "timed": '<path class="mark-open" d="M{left} {top}h12v7l-6 6l-6 -6Z"/>',
    "unknown": '<path class="mark-open mark-dashed" d="M{left} {top}h12v12h-12Z"/>',
    "not believed": '<circle class="mark-open mark-dashed" cx="{x}" cy="{y}" r="6.5"/>',
}


def mark(how: str, x: float, y: float) -> Markup:
    """The mark as SVG around the point; empty for a thing that needs none."""
    if how not in _SHAPES:
        return Markup()
    shape = _SHAPES[how].format(
        x=_n(x),
        y=_n(y),
        left=_n(x - 6),
        top=_n(y - 6),
        high=_n(y - 8),
        low=_n(y + 8),
        near=_n(x - 8),
        far=_n(x + 8),
    )
    style = "mark-letter-light" if "mark-full" in shape else "mark-letter-dark"
    return Markup(
        f'{shape}<text class="{style}" x="{_n(x)}" y="{_n(y + 3.2)}">{LEGEND[how][0]}</text>'
    )  # noqa: S704


def mark_icon(how: str) -> Markup:
    """The mark for a table cell whose text says the same; drawn once, by `mark_drawings`."""
    if how not in _SHAPES:
        return Markup()
    form = '<svg class="mark" viewBox="-9 -9 18 18" aria-hidden="true"><use href="#{}"/></svg>'
    return Markup(form).format(_id(how))


def mark_drawings() -> Markup:
    """Each mark once, for `mark_icon` to show: a long record has a thousand of them."""
    form = Markup('<g id="{}">{}</g>')
    drawn = Markup("").join(form.format(_id(how), mark(how, 0, 0)) for how in _SHAPES)
    return Markup('<svg class="drawings" aria-hidden="true"><defs>{}</defs></svg>').format(drawn)


def _id(how: str) -> str:
    return f"mark-{how.replace(' ', '-')}"


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
