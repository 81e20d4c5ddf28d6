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


def mark_at(how: str, x: float, y: float) -> Markup:
    """The mark in a picture, around the point, as `mark_drawings` drew it."""
    if how not in _SHAPES:
        return Markup()
    return Markup('<use href="#{}" x="{}" y="{}"/>').format(_id(how), _n(x), _n(y))


def mark_icon(how: str, cls: str = "") -> Markup:
    """The mark beside a text that says the same; drawn once, by `mark_drawings`."""
    if how not in _SHAPES:
        return Markup()
    named = Markup(' class="{}" aria-hidden="true"').format(cls) if cls else ""
    return Markup('<svg{}><use href="#{}"/></svg>').format(named, _icon(how))


def mark_drawings() -> Markup:
    """Each mark once, as drawing and as icon: a long record shows them a thousand times."""
    form = Markup('<g id="{}">{}</g><symbol id="{}" viewBox="-9 -9 18 18"><use href="#{}"/></symbol>')
    drawn = Markup("").join(
        form.format(_id(how), mark(how, 0, 0), _icon(how), _id(how)) for how in _SHAPES
    )
    return Markup('<svg class="drawings" aria-hidden="true"><defs>{}</defs></svg>').format(drawn)


def _id(how: str) -> str:
    return f"m-{_icon(how)}"


def _icon(how: str) -> str:
    return how.replace(" ", "-")


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
