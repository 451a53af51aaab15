"""The board's grid of chips as SVG and as text, with the suspects marked."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape

from linktool.machine import Chip, Machine

_WIDE, _HIGH, _LEFT, _TOP = 46, 30, 24, 20
_PLACE = re.compile(r"([A-Za-z]+)(\d+)")


def places(machine: Machine) -> tuple[list[str], list[int], dict[tuple[str, int], Chip]]:
    """Rows, columns and the chips at them; positions that are no row and column are left out."""
    found: dict[tuple[str, int], Chip] = {}
    for chip in machine.chips:
        match = _PLACE.fullmatch(chip.position)
        if match:
            found[match[1].upper(), int(match[2])] = chip
    rows = sorted({row for row, _ in found})
    columns = [column for _, column in found]
    return rows, list(range(min(columns), max(columns) + 1)) if columns else [], found


def svg(machine: Machine, suspects: Mapping[str, str]) -> str:
    """suspects: position -> how sure. "" where the profile names no places on a grid."""
    rows, columns, chips = places(machine)
    if not chips or len(columns) > 64:
        return ""
    width, height = _LEFT + len(columns) * _WIDE + 4, _TOP + len(rows) * _HIGH + 4
    parts = [
        f'<svg class="plan" role="img" viewBox="0 0 {width} {height}" width="{width * 1.3:.0f}" '
        f'height="{height * 1.3:.0f}" xmlns="http://www.w3.org/2000/svg">',
        f"<title>Chips of {escape(machine.name)}</title>",
    ]
    for number, column in enumerate(columns):
        parts.append(_text(_LEFT + number * _WIDE + _WIDE / 2, 13, str(column)))
    for number, row in enumerate(rows):
        parts.append(_text(12, _TOP + number * _HIGH + 19, row))
    for (row, column), chip in sorted(chips.items()):
        x, y = _LEFT + columns.index(column) * _WIDE, _TOP + rows.index(row) * _HIGH
        parts.append(_chip(chip, x, y, suspects.get(chip.position, "")))
    return "".join((*parts, "</svg>"))


def _text(x: float, y: float, text: str) -> str:
    return f'<text class="mark" x="{x:g}" y="{y:g}" text-anchor="middle">{escape(text)}</text>'


def _chip(chip: Chip, x: int, y: int, sure: str) -> str:
    bits = ", ".join(str(bit) for bit in chip.bits)
    title = f"{chip.position}: {chip.part or 'chip'}, {chip.range}, data bits {bits}" + (
        f"; suspect: {sure}" if sure else ""
    )
    box = f'<rect x="{x + 2}" y="{y + 3}" width="{_WIDE - 5}" height="{_HIGH - 6}" rx="2"'
    if sure:
        look, label = ' fill="#fff" stroke="#b3261e" stroke-width="3"/>', f"! {chip.position}"
    else:
        look, label = ' fill="#fff" stroke="#8b8b8b"/>', chip.position
    return f"<g><title>{escape(title)}</title>{box}{look}{_text(x + _WIDE / 2, y + 19, label)}</g>"


def text_lines(machine: Machine, suspects: Mapping[str, str]) -> tuple[str, ...]:
    """The same as lines: [ K7 ] for a chip, [!K7!] for a suspect."""
    rows, columns, chips = places(machine)
    lines = []
    for row in rows:
        cells = []
        for column in columns:
            chip = chips.get((row, column))
            if chip is None:
                cells.append(" " * 7)
            else:
                mark = "!" if chip.position in suspects else " "
                cells.append(f"[{mark}{chip.position:<3}{mark}]")
        lines.append(" ".join(cells).rstrip())
    return tuple(lines)


def suspects_of(facts: Sequence[Mapping[str, object]]) -> dict[str, str]:
    """Positions that faults of the log name, with how sure."""
    return {
        str(each["chip"]): str(each.get("chip_confidence", ""))
        for each in facts
        if isinstance(each.get("chip"), str) and each["chip"]
    }
