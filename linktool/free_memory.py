"""Where on a machine there is room: RAM that is not reserved, zero-page cells, and the pages of I/O.

Read from the profile alone. "Free" means that no reserved area claims it; what the user keeps there
nobody here knows.
"""

from __future__ import annotations

from collections.abc import Iterable

from formats.image import Range
from linktool.machine import Machine

ZERO_PAGE = Range(0x0000, 0x00FF)
_REGISTERS = ("key_data", "key_status", "display_data", "display_status")


def free_ram(machine: Machine, forced: Iterable[str] = ()) -> tuple[Range, ...]:
    """Stretches of RAM that are not reserved, in order; RAM areas that touch count as one.
    `forced` names reserved areas that are allowed all the same."""
    allowed = set(forced)
    joined: list[Range] = []
    for area in machine.areas:
        if area.kind != "ram":
            continue
        if joined and joined[-1].last + 1 == area.range.first:
            joined[-1] = Range(joined[-1].first, area.range.last)
        else:
            joined.append(area.range)
    return without(joined, [each.range for each in machine.reserved if each.name not in allowed])


def free_cells(machine: Machine, count: int) -> Range | None:
    """The first `count` free bytes in a row in the zero page; None where there are not so many."""
    runs = filter(None, (run.overlap(ZERO_PAGE) for run in free_ram(machine)))
    return next((Range(run.first, run.first + count - 1) for run in runs if len(run) >= count), None)


def largest_free(machine: Machine, taken: Iterable[Range]) -> Range | None:
    """The largest stretch within one RAM area that is neither reserved nor zero page nor `taken`;
    the lowest of equals. One area, because that is mostly one row of chips."""
    ram = [area.range for area in machine.areas if area.kind == "ram"]
    avoided = [ZERO_PAGE, *taken, *(each.range for each in machine.reserved)]
    return max(without(ram, avoided), key=len, default=None)


def io_pages(machine: Machine) -> tuple[int, int] | None:
    """The first and the last page with I/O: areas of that kind, and the registers the profile names."""
    pages = [machine.symbols[name] >> 8 for name in _REGISTERS if name in machine.symbols]
    for area in machine.areas:
        if area.kind == "io":
            pages += [area.range.first >> 8, area.range.last >> 8]
    return (min(pages), max(pages)) if pages else None


def without(ranges: Iterable[Range], taken: Iterable[Range]) -> tuple[Range, ...]:
    """What is left of `ranges` outside `taken`, in order."""
    left = sorted(ranges)
    for hole in taken:
        pieces: list[Range] = []
        for each in left:
            common = each.overlap(hole)
            if common is None:
                pieces.append(each)
                continue
            if each.first < common.first:
                pieces.append(Range(each.first, common.first - 1))
            if common.last < each.last:
                pieces.append(Range(common.last + 1, each.last))
        left = pieces
    return tuple(left)
