"""Maps of memory: a cell a page for all 64 KiB, or a cell for 16 bytes of a range. Pure; renderers draw them.

Every state has a letter of its own, a colour and a word, so that colour is never the only sign.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from formats.image import Range
from linktool.machine import Machine
from linktool.page_states import Page

PAGE, FINE = 0x100, 0x10
COLUMNS = 16


@dataclass(frozen=True)
class Look:
    """How a state is shown. mark: one character. colour: a name of the sixteen that terminals have, or ""."""

    mark: str
    colour: str
    word: str


LOOKS: dict[str, Look] = {
    "none": Look(".", "", "nothing fitted"),
    "ram": Look("#", "green", "RAM"),
    "in use": Look("M", "green", "the monitor's own RAM"),
    "rom": Look("R", "blue", "ROM"),
    "io": Look("I", "magenta", "I/O"),
    "skipped": Look("-", "magenta", "not touched"),
    "mirror": Look("=", "yellow", "shows other memory"),
    "floating": Look(".", "", "nothing answers"),
    "faulty": Look("X", "red", "bad"),
    "right": Look("+", "green", "read right"),
    "proven": Look("+", "green", "proven"),
    "typed": Look("~", "yellow", "typed but not proven"),
    "unread": Look("/", "yellow", "could not be read"),
    "unsteady": Look("%", "red", "unsteady"),
    "differs": Look("X", "red", "differs"),
    "not probed": Look(" ", "", "not looked at"),
}
"""State -> how it is shown. In a cell that holds several, the one that stands later here wins, but for the
blank, which never does."""
_RANK = {state: rank for rank, state in enumerate(LOOKS)} | {"not probed": -1}


@dataclass(frozen=True)
class Row:
    """COLUMNS cells, or fewer: the address of the first byte, and a state for each."""

    first: int
    states: tuple[str, ...]


@dataclass(frozen=True)
class Map:
    """cell: bytes a cell stands for."""

    title: str
    cell: int
    rows: tuple[Row, ...]

    def states(self) -> tuple[str, ...]:
        """The states that occur, in the order of LOOKS: what a legend must explain."""
        found = {state for row in self.rows for state in row.states}
        return tuple(state for state in LOOKS if state in found)


def of_pages(title: str, pages: Iterable[Page]) -> Map:
    """What a survey found, all 64 KiB."""
    states = {page.number: page.state for page in pages}
    return _whole(title, [states.get(page, "not probed") for page in range(0x100)])


def of_profile(machine: Machine) -> Map:
    """What the profile says, all 64 KiB; a page that holds several kinds shows the rarest."""
    return _whole(f"{machine.name}, by its profile", _worst(_kinds(machine), Range(0, 0xFFFF), PAGE))


def _kinds(machine: Machine) -> list[tuple[Range, str]]:
    return [(area.range, area.kind) for area in machine.map()]


def _whole(title: str, states: Sequence[str]) -> Map:
    return Map(title, PAGE, _rows(0, PAGE, states))


def of_ranges(title: str, known: Iterable[tuple[Range, str]], within: Range, cell: int = FINE) -> Map:
    """What is known of ranges, in cells of `cell` bytes (a power of two); the rest is "not probed"."""
    row = cell * COLUMNS
    whole = Range(within.first // row * row, min(within.last | (row - 1), 0xFFFF))
    return Map(title, cell, _rows(whole.first, cell, _worst(known, whole, cell)))


def _rows(first: int, cell: int, states: Sequence[str]) -> tuple[Row, ...]:
    return tuple(
        Row(first + at * cell, tuple(states[at : at + COLUMNS])) for at in range(0, len(states), COLUMNS)
    )


def _worst(known: Iterable[tuple[Range, str]], within: Range, cell: int) -> list[str]:
    states = ["not probed"] * (len(within) // cell)
    for where, state in known:
        common = where.overlap(within)
        if common is None:
            continue
        for at in range((common.first - within.first) // cell, (common.last - within.first) // cell + 1):
            if _RANK[state] > _RANK[states[at]]:
                states[at] = state
    return states
