"""Big letters for a terminal: solid, so that they can be read from two metres.

The shapes are pyfiglet's fonts of eight rows of dots; two dots make one character, one above the
other. Where the terminal has no such characters, each dot is one `#`.
"""

from functools import lru_cache
from typing import Any

BOLD, PLAIN = "clb8x8", "clr5x8"
"""Strokes of two dots, nine columns a letter; strokes of one dot, six columns a letter."""

_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
BLOCKS = "▀▄█"


def big(text: str, font: str, width: int, blocks: bool = True) -> str | None:
    """`text` in big letters on lines of at most `width` columns; None if a word is too wide."""
    lines: list[str] = []
    row = ""
    for word in text.split():
        longer = f"{row} {word}".strip()
        if _width(longer, font, blocks) <= width:
            row = longer
            continue
        if _width(word, font, blocks) > width:
            return None
        lines += [row] if row else []
        row = word
    lines += [row] if row else []
    return "\n".join(_drawn(line, font, blocks) for line in lines)


def _width(text: str, font: str, blocks: bool) -> int:
    return max((len(row) for row in _drawn(text, font, blocks).split("\n")), default=0)


@lru_cache(maxsize=500)
def _drawn(text: str, font: str, blocks: bool) -> str:
    """One line of text; letters that the font lacks are left out."""
    rows = [row.rstrip() for row in _figlet(font).renderText(text).split("\n")]
    rows = rows[:8] + [""] * (8 - len(rows))
    if not blocks:
        return "\n".join(rows)
    width = max(len(row) for row in rows)
    dots = [[sign != " " for sign in row.ljust(width)] for row in rows]
    pairs = zip(dots[::2], dots[1::2], strict=True)
    halves = ["".join(_HALVES[dot] for dot in zip(*pair, strict=True)).rstrip() for pair in pairs]
    return "\n".join(halves)


@lru_cache(maxsize=2)
def _figlet(font: str) -> Any:
    from pyfiglet import Figlet

    return Figlet(font=font, width=10_000)
