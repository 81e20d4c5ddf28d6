"""Lays one picture of the emergency out for a terminal of any size: the step as big as will fit.

Pure: no terminal is touched here. Nothing is said by colour alone; every state is a word.
"""

from functools import lru_cache

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from prompter.live.shown import Key, Shown

_FONTS = ("big", "small")
"""Letters of 8 and 5 rows: read from two metres on a window of 24 rows and more."""

_MARGIN = 2
SMALL_COLUMNS, SMALL_ROWS = 40, 12
"""Below this size no letter is drawn big."""


def picture(shown: Shown, columns: int, rows: int) -> RenderableType:
    """The largest form of `shown` whose height is at most `rows`."""
    width = max(10, columns - 2 * _MARGIN)
    for title_font, key_font in (("big", "small"), ("small", "small"), ("big", None), ("small", None)):
        if columns < SMALL_COLUMNS or rows < SMALL_ROWS:
            break
        found = _form(shown, width, title_font, key_font)
        if found is not None and _height(found, columns) <= rows:
            return found
    return _plain(shown, width, rows)


def _form(shown: Shown, width: int, title_font: str, key_font: str | None) -> Group | None:
    title = big(shown.title, title_font, width)
    if title is None:
        return None
    keys = _big_keys(shown.own_keys, key_font, width) if key_font else _own_keys(shown.own_keys)
    if keys is None:
        return None
    return _group(
        Text(title, style="bold"), Text(f"“{shown.prompt}”" if shown.prompt else "", style="bold"),
        Text(), keys, Text(), _more_keys(shown.more_keys, width), Text(), _parts(shown), _last_line(shown),
    )  # fmt: skip


def _plain(shown: Shown, width: int, rows: int) -> RenderableType:
    """For a small window: what matters most stands first, and what does not fit is left out."""
    lines = [Text(shown.title.upper(), style="bold"), Text(f"“{shown.prompt}”")]
    lines += [Text(line, style="bold") for line in [_typed_or_notice(shown)] if line]
    lines += [Text(f"{key}  {wording}", style="bold") for key, wording in shown.own_keys]
    lines += [_more_keys(shown.more_keys, width), _parts(shown)]
    kept: list[RenderableType] = []
    for line in lines:
        if _height(_group(*kept, line), width + 2 * _MARGIN) > rows:
            break
        kept.append(line)
    return _group(*kept)


def big(text: str, font: str, width: int) -> str | None:
    """`text` in big letters on lines of at most `width` columns; None if a word is too wide."""
    lines: list[str] = []
    row = ""
    for word in text.split():
        longer = f"{row} {word}".strip()
        if _art_width(longer, font) <= width:
            row = longer
            continue
        if row:
            lines.append(row)
        if _art_width(word, font) > width:
            return None
        row = word
    lines += [row] if row else []
    return "\n".join(_art(line, font) for line in lines)


@lru_cache(maxsize=2)
def _figlet(font: str):  # type: ignore[no-untyped-def]
    from pyfiglet import Figlet

    return Figlet(font=font, width=1000)


@lru_cache(maxsize=500)
def _art(text: str, font: str) -> str:
    rows = [row.rstrip() for row in _figlet(font).renderText(text).split("\n")]
    while rows and not rows[0]:
        rows.pop(0)
    while rows and not rows[-1]:
        rows.pop()
    return "\n".join(rows)


def _art_width(text: str, font: str) -> int:
    return max((len(row) for row in _art(text, font).split("\n")), default=0)


def _big_keys(keys: tuple[Key, ...], font: str, width: int) -> RenderableType | None:
    rows: list[RenderableType] = []
    for key, wording in keys:
        art = big(f"{key} {wording}", font, width)
        if art is None:
            return None
        rows.append(Text(art))
    return Group(*rows)


def _own_keys(keys: tuple[Key, ...]) -> RenderableType:
    return Group(*(Text(f"[ {key} ]  {wording}", style="bold") for key, wording in keys))


def _more_keys(keys: tuple[Key, ...], width: int) -> RenderableType:
    shown = [*keys, ("Enter", "that's done, or say again"), ("#", "oxygen number")]
    columns = max(1, width // 27)
    table = Table.grid(padding=(0, 2), expand=False)
    cells = [Text.assemble((key, "bold"), f" {wording}") for key, wording in shown]
    for begin in range(0, len(cells), columns):
        table.add_row(*cells[begin : begin + columns])
    return table


def _parts(shown: Shown) -> Text:
    return Text("   ".join(f"{name}: {state}" for name, state in shown.parts))


def _typed_or_notice(shown: Shown) -> str:
    if shown.typed is not None:
        return f"Oxygen number: {shown.typed}_   Enter: that is it   Esc: leave it"
    return shown.notice


def _last_line(shown: Shown) -> Text:
    heard = f"heard: {shown.heard}" if shown.heard else ""
    urgent = _typed_or_notice(shown)
    return Text.assemble((urgent, "bold reverse"), "   " if urgent and heard else "", heard)


def _group(*parts: RenderableType) -> Group:
    return Group(*(Padding(part, (0, _MARGIN)) for part in parts))


def _height(renderable: RenderableType, columns: int) -> int:
    console = Console(width=columns, height=1000, color_system=None, legacy_windows=False)
    return len(console.render_lines(renderable, pad=False))
