"""Sheets as SVG text: A4 in millimetres, plain shapes and text, black on white with few colours."""

from html import escape

from prompter.papers.layout import (
    HEAD_PT,
    LEADING,
    LEAST_PT,
    MARGIN_PT,
    MM_PT,
    PAD,
    Placed,
    Sheet,
    width_pt,
)

_FILL = {"step": "#ffffff", "start": "#e3efe6", "end": "#e9e9e9", "part": "#eef1f7"}
_INK = {"title": "#000000", "said": "#1a1a1a", "asked": "#0b3d70", "beat": "#4a4a4a", "leads": "#7a2e00", "goes": "#1a1a1a"}
_FONT = "Helvetica, Arial, 'Liberation Sans', sans-serif"


def svg(sheet: Sheet, foot: str) -> str:
    """One page; `foot` is printed small at its end (version, plan, approval)."""
    scale = sheet.type_pt / LEAST_PT
    width, height = sheet.width_pt, sheet.height_pt
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width / MM_PT:.1f}mm" height="{height / MM_PT:.1f}mm"'
        f' viewBox="0 0 {width:.2f} {height:.2f}" font-family="{_FONT}">',
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="7.4" refY="4" markerWidth="5.5" markerHeight="5.5"'
        ' orient="auto"><path d="M0 0.8 L8 4 L0 7.2 z" fill="#333"/></marker></defs>',
        f'<rect width="{width:.2f}" height="{height:.2f}" fill="#ffffff"/>',
        f'<text x="{MARGIN_PT}" y="{MARGIN_PT + 10}" font-size="13" font-weight="bold">{escape(sheet.title)}</text>',
        f'<text x="{MARGIN_PT}" y="{height - MARGIN_PT + 6:.2f}" font-size="{LEAST_PT}" fill="#333">{escape(foot)}</text>',
        f'<g transform="translate({MARGIN_PT} {MARGIN_PT + HEAD_PT - 14}) scale({scale:.4f})">',
    ]
    for _, points in sheet.arrows:
        path = " L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        out.append(f'<path d="M{path}" fill="none" stroke="#333" stroke-width="0.7" marker-end="url(#tip)"/>')
    for placed in sheet.boxes:
        out += _box(placed)
    return "\n".join([*out, "</g>", "</svg>"]) + "\n"


def _box(placed: Placed) -> list[str]:
    x, y, kind = placed.x, placed.y, placed.box.sort
    out = [
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{placed.width:.1f}" height="{placed.height:.1f}" rx="3"'
        f' fill="{_FILL[kind]}" stroke="#222" stroke-width="0.8"/>'
    ]
    for number, row in enumerate(placed.rows):
        down = y + (PAD + (number + 0.8) * LEADING) * LEAST_PT
        # A machine without the font has a wider one: the line keeps its length, so that it stays in its box.
        length = f' textLength="{width_pt(row):.1f}" lengthAdjust="spacingAndGlyphs"' if row.text.strip() else ""
        weight = ' font-weight="bold"' if row.sort == "title" else ""
        out.append(
            f'<text x="{x + PAD * LEAST_PT:.1f}" y="{down:.1f}" font-size="{LEAST_PT}"{weight}'
            f' fill="{_INK[row.sort]}" xml:space="preserve"{length}>{escape(row.text)}</text>'
        )
    return out
