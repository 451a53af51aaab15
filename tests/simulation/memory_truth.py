"""What is true of a board's memory, for judging tests of it: which faults concern an address or a chip.

Told from the fault's own spec, not from anything linktool says. A cell is fickle where its contents change by
themselves or by a neighbour; the monitor is whole where no fault reaches the memory that it works in.
"""

from __future__ import annotations

from dataclasses import dataclass

from formats.image import Range
from linktool.board.board import Board
from linktool.board.bus import IO, NONE, RAM, ROM
from linktool.board.memory_faults import Coupling, Forgets, Mirror, Unsteady
from linktool.causes import Cause
from linktool.machine import Machine
from linktool.page_states import ERASED, Page

LINES = ("address-open", "address-shorted", "bits-shorted", "bank-missing")


@dataclass(frozen=True)
class Injected:
    """One fault as it was put on the board: its name, and its arguments."""

    name: str
    arguments: tuple[str, ...]


class MemoryTruth:
    """healthy: no fault at all; memory that shows a second time beyond the profile is none."""

    def __init__(self, board: Board, machine: Machine, specs: tuple[str, ...]) -> None:
        self.board, self.machine = board, machine
        parts = [spec.split(":") for spec in specs]
        every = [Injected(name, tuple(rest)) for name, *rest in parts]
        self.faults = [each for each in every if not _beyond(each, machine)]
        self.healthy = not self.faults
        bad = [each for each in board.bus.faults if not isinstance(each, Mirror)]
        self._reaches = [(fault, fault.reach) for fault in bad]
        reserved = {a for each in machine.reserved for a in range(each.range.first, each.range.last + 1)}
        self._reserved = {board.bus.place(a) for a in reserved}
        self.monitor_whole = not any(self.concerned(address) for address in reserved)

    def concerned(self, address: int) -> bool:
        """Whether a fault may have a say in what is read at `address`, or becomes of it."""
        place = self.board.bus.place(address)
        for fault, reach in self._reaches:
            if isinstance(fault, Coupling):
                if place in (fault.aggressor.address, fault.victim.address):
                    return True
            elif address in reach or place in reach:
                return True
        return False

    def fickle(self, address: int) -> bool:
        """Whether the contents change by themselves, or with another cell."""
        place = self.board.bus.place(address)
        for fault, reach in self._reaches:
            if isinstance(fault, Coupling) and place in (fault.victim.address, fault.aggressor.address):
                return True
            if isinstance(fault, Forgets | Unsteady) and (address in reach or place in reach):
                return True
        return False

    def monitors(self, address: int) -> bool:
        """Whether the monitor works there."""
        return self.board.bus.place(address) in self._reserved

    def page_is(self, page: Page, address: int) -> bool:
        """Whether what a survey says of a page is true at the address it tried."""
        bus = self.board.bus
        place = bus.place(address)
        kind = NONE if place is None else bus.kinds[place]
        if page.state in ("ram", "in use"):
            return kind == RAM
        if page.state == "rom":
            return kind == ROM
        if page.state == "floating":
            return kind == NONE or (kind == ROM and page.reason == ERASED)
        if page.state == "mirror":
            there = None if page.of is None else bus.place(page.of << 8 | address & 0xFF)
            return place is not None and place == there and page.of != address >> 8
        if page.state == "skipped":
            where = Range(page.number << 8, page.number << 8 | 0xFF)
            return any(area.kind == "io" and area.range.overlap(where) for area in self.machine.areas)
        if page.state == "io":
            return kind == IO or self.concerned(address)
        return self.concerned(address)

    # ---- what is faulty ---------------------------------------------------------------------------

    def bad_chips(self) -> set[str]:
        """Positions of chips that are truly bad by themselves."""
        found: set[str] = set()
        for fault in self.faults:
            first = fault.arguments[0]
            if fault.name == "stuck-chip":
                found.add(first)
            elif fault.name == "coupling":
                found |= self._chips_at(fault.arguments[1])
                found |= self._chips_at(fault.arguments[3])
            elif fault.name == "forgets":
                found |= self._chips_at(first)
            elif fault.name in ("stuck", "unsteady", "transition"):
                found |= self._chips_at(f"{first}.{fault.arguments[1]}")
        return found

    def _chips_at(self, cell: str) -> set[str]:
        """Of a cell, ADDRESS.BIT, its chip; of an address all of its chips."""
        text, _, bit = cell.partition(".")
        address = int(text, 16)
        serving = [chip for chip in self.machine.chips if address in chip.range]
        return {chip.position for chip in serving if not bit or int(bit) in chip.bits}

    def explains(self, cause: Cause) -> bool:
        """Whether a cause that is called certain is one of the faults."""
        return any(self._is(fault, cause) for fault in self.faults)

    def _is(self, fault: Injected, cause: Cause) -> bool:
        name, arguments = fault.name, fault.arguments
        if name == "stuck-chip":
            chip = next(chip for chip in self.machine.chips if chip.position == arguments[0])
            same = cause.value == int(arguments[1]) and cause.bits == chip.bits
            return cause.kind == "stuck" and same and chip.range in cause.where
        if name in LINES:
            where = _range(next(part for part in arguments if "-" in part))
            if cause.where and where not in cause.where:
                return False
        if name == "address-open":
            return cause.kind in ("dead line", "dead lines") and int(arguments[0]) in cause.lines
        if name == "address-shorted":
            return cause.kind == "joined lines" and {int(a) for a in arguments[:2]} == set(cause.lines)
        if name == "bits-shorted":
            return cause.kind == "joined bits" and {int(a) for a in arguments[:2]} == set(cause.bits)
        if name == "bank-missing":
            return cause.kind == "missing"
        return cause.kind in ("cells", "unsteady")


def _beyond(fault: Injected, machine: Machine) -> bool:
    """Whether it only shows memory where the profile has none."""
    return fault.name == "mirror" and machine.kind_at(_range(fault.arguments[1]).first) != "ram"


def _range(text: str) -> Range:
    first, _, last = text.partition("-")
    return Range(int(first, 16), int(last, 16))
