"""Maps as text for the terminal, and as SVG for the page."""

from __future__ import annotations

from html import escape

from formats.image import hex4
from linktool.maps import COLUMNS, LOOKS, Map
from linktool.render.paint import Painted, strokes_of

_SIZE = 15
"""Side of a cell in the SVG, in its own units."""

FILLS = {
    "green": "#1b7f5c",
    "blue": "#1f6fb2",
    "magenta": "#8a4f9e",
    "yellow": "#c98a00",
    "red": "#b3261e",
    "": "#8b8b8b",
}
"""Colours that stay apart for most people with a colour weakness, and in grey on paper by their shapes."""


def text_lines(shown: Map, *, empty_rows: bool = True) -> list[str]:
    """The map as lines: a head, a row each, a legend. empty_rows: rows in which nothing was looked at too."""
    digits = "".join(f"{column:X}" for column in range(COLUMNS))
    lines: list[str] = [shown.title, f"       {digits}"]
    for row in shown.rows:
        if not empty_rows and all(state == "not probed" for state in row.states):
            continue
        head = f"{hex4(row.first)}   "
        looks = [LOOKS[state] for state in row.states]
        colours = [""] * len(head) + [look.colour for look in looks]
        lines.append(Painted(head + "".join(look.mark for look in looks), strokes_of(colours)))
    step = "a page of 256 bytes" if shown.cell == 256 else f"{shown.cell} bytes"
    words: dict[str, list[str]] = {}
    for state in shown.states():
        if LOOKS[state].mark != " ":
            words.setdefault(LOOKS[state].mark, []).append(LOOKS[state].word)
    named = [f"{mark} {' or '.join(dict.fromkeys(each))}" for mark, each in words.items()]
    lines.append(f"Each sign is {step}: {', '.join(named)}.")
    return lines


def svg(shown: Map) -> str:
    """The map as one SVG element; every cell says in a title what it is."""
    left, top = 46, 18
    width, height = left + COLUMNS * _SIZE + 4, top + len(shown.rows) * _SIZE + 4
    parts = [
        f'<svg class="map" role="img" viewBox="0 0 {width} {height}" width="{width * 1.6:.0f}" '
        f'height="{height * 1.6:.0f}" xmlns="http://www.w3.org/2000/svg">',
        f"<title>{escape(shown.title)}</title>",
    ]
    for column in range(COLUMNS):
        x = left + column * _SIZE + _SIZE / 2
        parts.append(f'<text class="mark" x="{x:g}" y="13" text-anchor="middle">{column:X}</text>')
    for number, row in enumerate(shown.rows):
        y = top + number * _SIZE
        parts.append(f'<text class="mark" x="4" y="{y + 11}">{hex4(row.first)}</text>')
        for column, state in enumerate(row.states):
            first = row.first + column * shown.cell
            where = f"{hex4(first)}-{hex4(first + shown.cell - 1)}: {LOOKS[state].word}"
            cell = _cell(state, left + column * _SIZE, y)
            parts.append(f"<g><title>{escape(where)}</title>{cell}</g>")
    parts.append("</svg>")
    return "".join(parts)


def legend_html(shown: Map) -> str:
    """What the signs of this map mean, as a list with the same signs."""
    entries = []
    for state in shown.states():
        sign = f'<svg viewBox="0 0 {_SIZE} {_SIZE}" width="18" height="18">{_cell(state, 0, 0)}</svg>'
        entries.append(f"<li>{sign} {escape(LOOKS[state].word)}</li>")
    return f'<ul class="legend">{"".join(entries)}</ul>'


_BOX = '<rect x="1.5" y="1.5" width="12" height="12"'
_CROSS = '<path d="M1.5 1.5L13.5 13.5M13.5 1.5L1.5 13.5" fill="none" stroke="{fill}" stroke-width="2.5"/>'
_DOT = '<circle cx="7.5" cy="7.5" r="1.6" fill="{fill}"/>'
_SLASH = '<path d="M1.5 13.5L13.5 1.5" stroke="{fill}" stroke-width="'
_FRAME = _BOX + ' fill="none" stroke="{fill}"/>'
_SOLID = _BOX + ' fill="{fill}"/>'
_PROVEN = _SOLID + '<path d="M4 7.5H11M7.5 4V11" stroke="#fff" stroke-width="2"/>'
_BAD = _BOX + ' fill="#fff" stroke="{fill}"/>' + _CROSS

_SHAPES: dict[str, str] = {
    "ram": _SOLID,
    "proven": _PROVEN,
    "right": _PROVEN,
    "faulty": _BAD,
    "differs": _BAD,
    "in use": _FRAME + '<rect x="4.5" y="4.5" width="6" height="6" fill="{fill}"/>',
    "rom": '<polygon points="7.5,1.5 13.5,7.5 7.5,13.5 1.5,7.5" fill="{fill}"/>',
    "io": '<circle cx="7.5" cy="7.5" r="6" fill="{fill}"/>',
    "skipped": '<circle cx="7.5" cy="7.5" r="5" fill="none" stroke="{fill}" stroke-width="2"/>',
    "mirror": '<path d="M1.5 5H13.5M1.5 10.5H13.5" stroke="{fill}" stroke-width="3.5"/>',
    "typed": _FRAME + '<rect x="1.5" y="7.5" width="12" height="6" fill="{fill}"/>',
    "unsteady": _FRAME + _SLASH + '3"/>',
    "unread": _FRAME + _SLASH + '1.5"/>',
    "floating": _DOT,
    "none": _DOT,
    "not probed": _BOX + ' fill="none" stroke="#ddd"/>',
}
"""State -> its shape in a square of 15, which tells it without the colour."""


def _cell(state: str, x: int, y: int) -> str:
    shape = _SHAPES[state].replace("{fill}", FILLS[LOOKS[state].colour])
    return f'<g transform="translate({x} {y})">{shape}</g>'
