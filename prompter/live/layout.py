"""Lays one picture of the emergency out for a terminal of any size: the step as big as will fit.

Pure: no terminal is touched here. Nothing is said by colour alone; every state is a word.
"""

import textwrap
from itertools import product, zip_longest

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from prompter.live.letters import BOLD, PLAIN, big
from prompter.live.shown import Key, Panel, Shown

_MARGIN = 1
SMALL_COLUMNS, SMALL_ROWS = 40, 14
"""Below this size no letter is drawn big."""
_PANEL_HALF = 34
"""Columns that half a panel needs."""

_FORMS = (
    (BOLD, BOLD, BOLD, 1),
    (BOLD, BOLD, PLAIN, 1),
    (BOLD, PLAIN, PLAIN, 1),
    (BOLD, None, PLAIN, 1),
    (PLAIN, None, PLAIN, 1),
    (BOLD, None, None, 1),
    (PLAIN, None, None, 1),
    (PLAIN, None, None, 2),
)
"""Letters of step, last prompt and own keys (None: ordinary, but bold), and keys a line; the largest
first."""

_BESIDE_A_PANEL = (
    (BOLD, None, PLAIN, 1),
    (BOLD, None, None, 2),
    (PLAIN, None, None, 2),
    (None, None, None, 2),
)
"""The same where a panel takes its room."""

_KEY_LINES = (None, 4, 3, 2)
"""Lines for the keys that work everywhere (None: all of them), where a panel takes its room."""


def picture(shown: Shown, columns: int, rows: int, blocks: bool = True) -> RenderableType:
    """The largest form of `shown` whose height is at most `rows`.

    `blocks`: the terminal can show block characters.
    """
    width = max(10, columns - 2 * _MARGIN)
    if columns >= SMALL_COLUMNS and rows >= SMALL_ROWS:
        forms, key_lines = (_FORMS, _KEY_LINES[:1]) if shown.panel is None else (_BESIDE_A_PANEL, _KEY_LINES)
        for form, most in product(forms, key_lines):
            found = _form(shown, width, form, blocks, most)
            if found is not None and _height(found, columns) <= rows:
                return found
    return _plain(shown, columns, rows)


def _form(
    shown: Shown,
    width: int,
    form: tuple[str | None, str | None, str | None, int],
    blocks: bool,
    key_lines: int | None = None,
) -> Group | None:
    title_font, prompt_font, key_font, keys_a_line = form
    title = _either(shown.title.upper() if title_font is None else shown.title, title_font, width, blocks)
    prompt = _either(shown.prompt, prompt_font, width, blocks)
    keys = [_either(f"{key}  {wording}", key_font, width, blocks) for key, wording in shown.own_keys]
    drawn = [key for key in keys if key is not None]
    if title is None or prompt is None or len(drawn) < len(keys):
        return None
    if keys_a_line > 1:
        cells = [key.ljust(width // keys_a_line) for key in drawn]
        drawn = ["".join(cells[n : n + keys_a_line]) for n in range(0, len(cells), keys_a_line)]
    rule = Text("-" * width, style="dim")
    return _group(
        Text(title, style="bold"),
        rule,
        Text(prompt, style="bold"),
        rule,
        *(_panel(shown.panel, width) if shown.panel is not None else []),
        *(Text(key, style="bold") for key in drawn),
        *([Text()] if keys_a_line == 1 else []),
        _first_lines(_more_keys(shown.more_keys, width), key_lines),
        _parts(shown, width),
        _last_line(shown),
    )


def _panel(panel: Panel, width: int) -> list[Text]:
    """Told on the left, the plan's facts on the right; one below the other where that is too narrow."""
    told = list(panel.sentences)
    title = Text(f" {panel.title} ", style="bold reverse")
    left = (width - 2) // 2
    if width < 2 * _PANEL_HALF:
        return [title, *(Text(line) for line in (*told, *panel.facts)), Text("-" * width, style="dim")]
    halves = [_wrapped(told, left), _wrapped(list(panel.facts), width - left - 2)]
    lines = [f"{one.ljust(left)}  {other}".rstrip() for one, other in zip_longest(*halves, fillvalue="")]
    return [title, *(Text(line) for line in lines), Text("-" * width, style="dim")]


def _wrapped(lines: list[str], width: int) -> list[str]:
    return [part for line in lines for part in textwrap.wrap(line, width, subsequent_indent="  ")]


def _first_lines(text: Text, most: int | None) -> Text:
    lines = text.plain.split("\n")
    return text if most is None or len(lines) <= most else Text("\n".join(lines[:most]) + " …")


def _either(text: str, font: str | None, width: int, blocks: bool) -> str | None:
    return text if font is None else big(text, font, width, blocks)


def _plain(shown: Shown, columns: int, rows: int) -> RenderableType:
    """For a small window: what matters most stands first, and what does not fit is left out."""
    lines = [Text(shown.title.upper(), style="bold"), Text(shown.prompt)]
    lines += [Text(line, style="bold") for line in [_typed_or_notice(shown)] if line]
    lines += [Text(f"{key}  {wording}", style="bold") for key, wording in shown.own_keys]
    if shown.panel is not None:
        lines += [Text(line) for line in (*shown.panel.sentences, *shown.panel.facts)]
    width = max(10, columns - 2 * _MARGIN)
    lines += [_more_keys(shown.more_keys, width), _parts(shown, width)]
    kept: list[Text] = []
    for line in lines:
        if _height(_group(*kept, line), columns) > rows:
            break
        kept.append(line)
    return _group(*kept)


def _more_keys(keys: tuple[Key, ...], width: int) -> Text:
    shown = [*keys, ("Enter", "that's done, or say again"), ("#", "oxygen number")]
    return _flowing([f"{key}: {wording}" for key, wording in shown], width)


def _parts(shown: Shown, width: int) -> Text:
    return _flowing([f"{name}: {state}" for name, state in shown.parts], width)


def _flowing(items: list[str], width: int) -> Text:
    """A paragraph that breaks between its items only: a key must stand beside its answer."""
    lines = [""]
    for item in items:
        longer = f"{lines[-1]}   {item}" if lines[-1] else item
        if len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(item)
    return Text("\n".join(lines))


def _typed_or_notice(shown: Shown) -> str:
    if shown.typed is not None:
        return f"Oxygen number: {shown.typed}_   Enter: that is it   Esc: leave it"
    return shown.notice


def _last_line(shown: Shown) -> Text:
    heard = f"heard: {shown.heard}" if shown.heard else ""
    urgent = _typed_or_notice(shown)
    return Text.assemble((urgent, "bold reverse"), "   " if urgent and heard else "", heard)


def _group(*parts: Text) -> Group:
    return Group(*(Padding(part, (0, _MARGIN)) for part in parts))


def _height(renderable: RenderableType, columns: int) -> int:
    console = Console(width=columns, height=1000, color_system=None, legacy_windows=False)
    return len(console.render_lines(renderable, pad=False))
