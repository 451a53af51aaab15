"""Faults of memory cells, chips and address and data lines. Pure: they see the bus only through its cells.

A fault overrides the few steps of an access it disturbs. The order of an access is: the address finds
its cell (route); a write is bent (writes), kept, and may disturb other cells (written); a read is bent
the same way each time (shows), and now and then (reads). Coupling faults and transition faults follow
the definitions in A. J. van de Goor, Testing Semiconductor Memories, Wiley 1991.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from random import Random
from typing import Literal, Protocol

from formats.image import Range


class Cells(Protocol):
    """What a fault sees of the bus."""

    cells: bytearray
    changes: int

    def seconds(self) -> float:
        """The board's time."""
        ...


@dataclass
class MemoryFault:
    """No fault at all; `reach` holds every address whose access goes through it."""

    reach: Range

    def pages(self) -> Iterable[int]:
        """The pages of the reach."""
        return range(self.reach.first >> 8, (self.reach.last >> 8) + 1)

    def forced(self) -> Iterable[int]:
        """Cells that take the fault's value as soon as it is there."""
        return ()

    def route(self, address: int) -> int | None:
        """The address that answers instead, or None for nobody."""
        return address

    def writes(self, bus: Cells, place: int, old: int, value: int) -> int:
        """The value that is kept when `value` is written over `old`."""
        return value

    def written(self, bus: Cells, place: int, old: int, value: int) -> None:
        """What a write to `place` does elsewhere."""

    def shows(self, bus: Cells, address: int, value: int) -> int:
        """The value a read gives where the cell holds `value`; the same every time."""
        return value

    def reads(self, bus: Cells, address: int, value: int) -> int:
        """The value this one read gives; may differ from read to read."""
        return value


@dataclass
class Stuck(MemoryFault):
    """Data bits that always are 0 or 1, in every cell of the reach."""

    mask: int
    ones: bool

    def forced(self) -> Iterable[int]:
        return range(self.reach.first, self.reach.last + 1)

    def writes(self, bus: Cells, place: int, old: int, value: int) -> int:
        if place not in self.reach:
            return value
        return value | self.mask if self.ones else value & ~self.mask


@dataclass
class Transition(MemoryFault):
    """A cell's bit that cannot rise, or cannot fall (TF)."""

    mask: int
    up: bool

    def writes(self, bus: Cells, place: int, old: int, value: int) -> int:
        if place not in self.reach:
            return value
        if self.up:
            return value & ~(self.mask & ~old)
        return value | (self.mask & old)


@dataclass
class Shorted(MemoryFault):
    """Two data lines that touch: both carry the AND, or the OR, of what drives them."""

    first: int
    second: int
    wired: Literal["and", "or"]

    def _joined(self, value: int) -> int:
        both = self.first | self.second
        up = value & both
        one = up == both if self.wired == "and" else up != 0
        return value | both if one else value & ~both

    def writes(self, bus: Cells, place: int, old: int, value: int) -> int:
        return self._joined(value) if place in self.reach else value

    def shows(self, bus: Cells, address: int, value: int) -> int:
        return self._joined(value) if address in self.reach else value


@dataclass
class AddressOpen(MemoryFault):
    """An address line that does not arrive: the memory of the reach always sees 0, or 1, there."""

    line: int
    ones: bool

    def route(self, address: int) -> int | None:
        if address not in self.reach:
            return address
        return address | self.line if self.ones else address & ~self.line


@dataclass
class AddressShorted(MemoryFault):
    """Two address lines that touch: the memory of the reach sees their AND, or OR, on both."""

    first: int
    second: int
    wired: Literal["and", "or"]

    def route(self, address: int) -> int | None:
        if address not in self.reach:
            return address
        both = self.first | self.second
        up = address & both
        one = up == both if self.wired == "and" else up != 0
        return address | both if one else address & ~both


@dataclass
class Missing(MemoryFault):
    """Chips that are not there: writes are lost, reads float."""

    def route(self, address: int) -> int | None:
        return None if address in self.reach else address


@dataclass
class Mirror(MemoryFault):
    """A second range of addresses that reaches the cells of the first."""

    source: Range

    def route(self, address: int) -> int | None:
        if address not in self.reach:
            return address
        return self.source.first + (address - self.reach.first) % len(self.source)


@dataclass
class Unsteady(MemoryFault):
    """A bit that now and then reads wrong; what the cell holds stays."""

    mask: int
    probability: float
    random: Random

    def reads(self, bus: Cells, address: int, value: int) -> int:
        if address not in self.reach:
            return value
        bus.changes += 1
        return value ^ self.mask if self.random.random() < self.probability else value


@dataclass
class Forgets(MemoryFault):
    """Cells that lose what was written to them after a while; only writing refreshes them."""

    hold_s: float
    leaves: int
    since: dict[int, float] = field(default_factory=dict)

    def written(self, bus: Cells, place: int, old: int, value: int) -> None:
        if place in self.reach:
            self.since[place] = bus.seconds()

    def shows(self, bus: Cells, address: int, value: int) -> int:
        if address not in self.reach:
            return value
        return value if bus.seconds() < self.since.get(address, 0.0) + self.hold_s else self.leaves

    def reads(self, bus: Cells, address: int, value: int) -> int:
        if address in self.reach:
            bus.changes += 1
        return value


@dataclass(frozen=True)
class Bit:
    """One bit of one cell."""

    address: int
    mask: int


@dataclass
class Coupling(MemoryFault):
    """One bit disturbs another; a write to either goes through the fault."""

    aggressor: Bit
    victim: Bit

    def pages(self) -> Iterable[int]:
        return {self.aggressor.address >> 8, self.victim.address >> 8}


@dataclass
class CouplingEdge(Coupling):
    """An edge of the aggressor inverts the victim (CFin, force None) or forces it to 0 or 1 (CFid)."""

    up: bool
    force: bool | None

    def written(self, bus: Cells, place: int, old: int, value: int) -> None:
        if place != self.aggressor.address:
            return
        moved = (old ^ value) & self.aggressor.mask
        if not moved or bool(value & moved) != self.up:
            return
        _set(bus, self.victim, self.force)


@dataclass
class CouplingState(Coupling):
    """While the aggressor holds a level, the victim is forced to 0 or 1 (CFst)."""

    level: bool
    force: bool

    def forced(self) -> Iterable[int]:
        return (self.aggressor.address,)

    def written(self, bus: Cells, place: int, old: int, value: int) -> None:
        if place not in (self.aggressor.address, self.victim.address):
            return
        if bool(bus.cells[self.aggressor.address] & self.aggressor.mask) == self.level:
            _set(bus, self.victim, self.force)


def _set(bus: Cells, bit: Bit, force: bool | None) -> None:
    held = bus.cells[bit.address]
    rises = not held & bit.mask if force is None else force
    value = held | bit.mask if rises else held & ~bit.mask
    if value != held:
        bus.cells[bit.address] = value
        bus.changes += 1
