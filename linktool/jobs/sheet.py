"""sheet: an image as a person types it by hand, line by line as the screen will show it, and the listing
to compare with afterwards. Also the screen a one-way link should leave behind. Pure: no port is needed.

A line's check figure is the sum of its bytes, of which the last two hex digits count (modulo 256): it can
be worked out with pencil and paper. It finds any single wrong byte, but not two bytes exchanged.
"""

from __future__ import annotations

from dataclasses import dataclass

from formats.image import Image, Range, hex4
from linktool import dialect as speech
from linktool.machine import Machine
from linktool.plan import Line, blocks, lines
from linktool.screen import UNKNOWN, Screen


@dataclass(frozen=True)
class SheetLine:
    """One line to type. rows: what the screen shows of it, prompt first, answer last; `typed` stands in
    the first of them. check: sum of `data` modulo 256."""

    number: int
    typed: str
    rows: tuple[str, ...]
    range: Range
    data: bytes

    @property
    def check(self) -> int:
        return sum(self.data) & 0xFF


@dataclass(frozen=True)
class Listing:
    """What to ask for after typing, and the rows the screen shows then."""

    asked: str
    rows: tuple[str, ...]


@dataclass(frozen=True)
class SheetReport:
    """screens: the lines, grouped as many as fit the screen at once."""

    source: str
    machine: Machine
    image: Image
    screens: tuple[tuple[SheetLine, ...], ...]
    listings: tuple[Listing, ...]
    remarks: tuple[str, ...] = ()
    saved: str = ""
    command: str = "sheet"
    exit_status: int = 0

    @property
    def lines(self) -> tuple[SheetLine, ...]:
        return tuple(line for group in self.screens for line in group)

    @property
    def keystrokes(self) -> int:
        return sum(len(line.typed) + 1 for line in self.lines)


def sheet(machine: Machine, image: Image, source: str, remarks: tuple[str, ...] = ()) -> SheetReport:
    """The whole sheet. RefusedError where a line cannot be made."""
    groups: list[list[SheetLine]] = [[]]
    used = 0
    for number, line in enumerate(lines(machine, image, "screen"), 1):
        rows = _rows(machine, _shown(machine, line))
        if groups[-1] and used + len(rows) >= machine.screen.rows:
            groups.append([])
            used = 0
        used += len(rows)
        groups[-1].append(SheetLine(number, line.text, rows, line.range, line.data))
    screens = tuple(tuple(group) for group in groups if group)
    return SheetReport(source, machine, image, screens, _listings(machine, image), remarks)


def expected_screen(machine: Machine, image: Image) -> tuple[str, ...]:
    """The rows the machine's screen should show after a one-way link has typed `image`; empty rows at
    the end are left out. UNKNOWN stands for digits the host cannot know."""
    screen = Screen(machine.screen.columns, machine.screen.rows)
    screen.put(_known(machine.dialect.cancel_answer))
    for line in lines(machine, image, "screen"):
        screen.put(line.text + _known(line.answer))
    rows = list(screen.lines())
    while rows and not rows[-1].strip():
        rows.pop()
    return tuple(row.rstrip() for row in rows)


def _known(answer: str) -> str:
    return answer.replace(speech.ANY, UNKNOWN)


def _shown(machine: Machine, line: Line) -> str:
    """A line with its prompt before it and its answer after it, without the next line's prompt."""
    ready = machine.dialect.ready
    return ready + line.text + _known(line.answer).removesuffix(ready).removesuffix("\r")


def _rows(machine: Machine, text: str) -> tuple[str, ...]:
    columns = machine.screen.columns
    return tuple(
        row[at : at + columns] for row in text.split("\r") for at in range(0, max(len(row), 1), columns)
    )


def _listings(machine: Machine, image: Image) -> tuple[Listing, ...]:
    """The whole image as the monitor dumps it, in pieces that fit the screen below the line that asks."""
    dialect, screen = machine.dialect, machine.screen
    widest = len(speech.row_text(dialect, Range(0, dialect.row_bytes - 1)).removesuffix("\r"))
    tall = -(-widest // screen.columns)
    block = 1
    while block * 2 <= max(1, (screen.rows - 2) // tall) * dialect.row_bytes:
        block *= 2
    return tuple(_listing(machine, image, wanted) for wanted in blocks(image, block))


def _listing(machine: Machine, image: Image, wanted: Range) -> Listing:
    dialect = machine.dialect
    # Four digits an address: for a person who types it, being sure is worth a key or two.
    asked = dialect.examine.replace("{first}", hex4(wanted.first)).replace("{last}", hex4(wanted.last))
    rows = [*_rows(machine, dialect.ready + asked)]
    for row in speech.rows(dialect, wanted):
        digits = iter(image.slice(row).segments[0].data.hex().upper())
        text = "".join(
            next(digits) if character == speech.ANY else character
            for character in speech.row_text(dialect, row).removesuffix("\r")
        )
        rows.extend(_rows(machine, text))
    return Listing(asked, tuple(rows))
