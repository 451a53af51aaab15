"""Where in the machine the resident routines may stand: code in RAM, cells and buffer in page zero. Pure.

Clear of the image and of everything else the caller names, of the reserved areas, the stack and page zero.
The end of RAM is tried first, because programs seldom reach it; then the gaps below. What stood in the
chosen places is lost: the caller says so. Nothing is saved: there may be no room to save it to.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from formats.image import Range
from linktool.machine import Machine

CELLS = 8
"""Bytes of page zero the routines work in."""

BUFFER_LEAST, BUFFER_MOST = 48, 192
"""Bytes of page zero for the receiver's buffer. Each block has about 12 keys besides its data."""

WINDOW, FIRST_ROW = 256, 8
"""Bytes within the bootstrap's reach, and those at its start that it has no place for."""

_LOW = Range(0x0000, 0x01FF)
_CHECKER = ("monitor", "char_out")
_RECEIVER = (*_CHECKER, "key_status", "key_data", "display_data")


@dataclass(frozen=True)
class Placement:
    """code: the routines. cells: first of the page-zero bytes they work in, the buffer of `size` bytes
    right behind them; size 0: there is no room for one, so for the checker alone. window: the 256 bytes
    around the code in which the bootstrap may write; None where there is no room for so many."""

    code: Range
    cells: int
    size: int
    window: Range | None = None

    @property
    def buffer(self) -> int:
        return self.cells + CELLS

    @property
    def page_zero(self) -> Range:
        return Range(self.cells, self.cells + CELLS + self.size - 1)

    def clear_of(self, taken: Iterable[Range]) -> bool:
        """Whether none of `taken` touches code, cells or buffer."""
        mine = (self.window or self.code, self.page_zero)
        return not any(part.overlap(each) for part in mine for each in taken)


def lacking(machine: Machine, receiver: bool) -> str:
    """Why the routines cannot be used on this machine at all, as a sentence, or ""."""
    link = machine.link
    if not link.echo:
        return "the link is one-way, so nothing the machine says can be heard"
    if link.pacing == "timed":
        return "the link is paced by time alone"
    missing = [name for name in (_RECEIVER if receiver else _CHECKER) if name not in machine.symbols]
    if missing:
        return f"the profile of machine {machine.name} has no symbol {', '.join(missing)}"
    return ""


def places(
    machine: Machine, length: int, buffered: bool, taken: Iterable[Range], wary: Iterable[Range] = ()
) -> list[Placement]:
    """Where `length` bytes of code fit, best first; empty where there is no room.

    buffered  whether a buffer is needed; where there is room for one, there is one anyway
    taken     what must be left alone, besides what the profile reserves
    wary      what is left alone where that is possible
    """
    firm = [*(reserved.range for reserved in machine.reserved), *taken]
    clear = _places(machine, length, buffered, [*firm, *wary])
    return clear + [place for place in _places(machine, length, buffered, firm) if place not in clear]


def _places(machine: Machine, length: int, buffered: bool, hindered: list[Range]) -> list[Placement]:
    zero = max(_gaps(machine, hindered, Range(0x00, 0xFF)), key=len, default=None)
    if zero is None or len(zero) < CELLS + (BUFFER_LEAST if buffered else 0):
        return []
    size = min(BUFFER_MOST, len(zero) - CELLS)
    size = size if size >= BUFFER_LEAST else 0
    cells = zero.last + 1 - CELLS - size
    room = [gap for gap in _gaps(machine, [*hindered, _LOW], Range(0, 0xFFFF)) if len(gap) >= length]
    room.sort(key=lambda gap: (len(gap) >= WINDOW, gap.last), reverse=True)
    return [_placed(gap, length, cells, size) for gap in room]


def _placed(gap: Range, length: int, cells: int, size: int) -> Placement:
    """The end of a gap: the code behind the window's first row, or the code alone."""
    if len(gap) < WINDOW:
        return Placement(Range(gap.last + 1 - length, gap.last), cells, size)
    window = Range(gap.last + 1 - WINDOW, gap.last)
    first = window.first + FIRST_ROW
    return Placement(Range(first, first + length - 1), cells, size, window)


def _gaps(machine: Machine, hindered: Iterable[Range], within: Range) -> list[Range]:
    """The stretches of RAM in `within` that nothing hinders, ascending. RAM areas are kept apart: one of
    them may be missing from the board."""
    gaps: list[Range] = []
    for area in machine.areas:
        inside = area.range.overlap(within) if area.kind == "ram" else None
        if inside is None:
            continue
        at = inside.first
        for block in sorted(filter(None, (inside.overlap(each) for each in hindered))):
            if block.first > at:
                gaps.append(Range(at, block.first - 1))
            at = max(at, block.last + 1)
        if at <= inside.last:
            gaps.append(Range(at, inside.last))
    return gaps
