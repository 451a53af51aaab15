"""What linktool claims against what is true. What counts as fair stands in the package's docstring."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from formats.image import Image, Range
from linktool.board.board import Board
from linktool.board.memory_faults import Cells, Forgets, MemoryFault, Unsteady
from linktool.jobs.report import Report


@dataclass
class Witness(MemoryFault):
    """No fault: remembers what the processor got at each address it read last."""

    got: dict[int, int] = field(default_factory=dict)

    def reads(self, bus: Cells, address: int, value: int) -> int:
        if address in self.reach:
            self.got[address] = value
        return value


@dataclass(frozen=True)
class Wrong:
    """A rule that was broken: which, and the facts."""

    rule: str
    facts: str


class Judge:
    """Looks at the board from outside; the board notices nothing of it."""

    def __init__(self, board: Board, image: Image, random: Random) -> None:
        self.board, self.image = board, image
        self.fickle = 0
        changing = [each for each in board.bus.faults if isinstance(each, Forgets | Unsteady)]
        self._fickle_cells = {a for each in changing for a in each_address(each.reach)}
        used = {board.bus.place(a) for each in board.machine.reserved for a in each_address(each.range)}
        self._fickle_cells.update(a for a, _ in image.cells() if board.bus.place(a) in used)
        self._witness: Witness | None = None
        if self._fickle_cells:
            self._witness = Witness(Range(min(self._fickle_cells), max(self._fickle_cells)))
            board.bus.fit((*board.bus.faults, self._witness))

    def claims(self, report: Report) -> list[Wrong]:
        """Everything a report of enter, check or read says of memory."""
        found = []
        for where in report.proven:
            for address in each_address(where):
                claimed = report.image.get(address)
                true = self.true(address)
                if claimed != true and not self._excused(address, claimed):
                    found.append(Wrong("claimed proven but different", _said(address, claimed, true)))
        for finding in report.differences:
            true = self.true(finding.address)
            if finding.kind != "memory" or (finding.found == true != finding.expected):
                continue
            if not self._excused(finding.address, finding.found):
                facts = f"{finding.address:04X} said to hold {finding.found:02X}, holds {true:02X}"
                found.append(Wrong("false alarm", facts + f", expected {finding.expected:02X}"))
        if report.exit_status == 0 and report.proof != "none" and report.command != "read":
            whole = tuple(segment.range for segment in report.image.segments)
            if report.proven != whole:
                found.append(Wrong("status 0 but not all proven", f"{report.proven} of {whole}"))
        return found

    def true(self, address: int) -> int:
        return self.board.memory(address, address)[0]

    def _excused(self, address: int, claimed: int | None) -> bool:
        """A cell that changes by itself, of which the processor last got what is claimed."""
        if self._witness is None or address not in self._fickle_cells:
            return False
        if self._witness.got.get(address) != claimed:
            return False
        self.fickle += 1
        return True

    def changed_since(self, before: bytes, apart: Image) -> list[int]:
        """Addresses of RAM, not in `apart`, whose contents are not as in `before` (64 KiB)."""
        after = self.snapshot()
        pages = (slice(first, first + 0x100) for first in range(0, 0x10000, 0x100))
        touched = [page for page in pages if before[page] != after[page]]
        places = (address for page in touched for address in range(page.start, page.stop))
        return [a for a in places if before[a] != after[a] and a not in apart]

    def snapshot(self) -> bytes:
        """What all cells hold."""
        return bytes(self.board.bus.cells)


def each_address(where: Range) -> range:
    return range(where.first, where.last + 1)


def _said(address: int, claimed: int | None, true: int) -> str:
    return (
        f"{address:04X} claimed {claimed!r:.4} true {true}"
        if claimed is None
        else (f"{address:04X} claimed {claimed:02X}, holds {true:02X}")
    )
