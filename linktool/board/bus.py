"""The board's address and data lines: RAM, ROM, registers and holes, as the processor meets them.

Pages of plain memory are read and written without a call more; a page with registers, holes or a fault
goes the long way. A hole answers with what the bus carried last: with this processor the high byte of
the address, which it has just fetched (common practice; a crossed page is not told apart).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from linktool.board.memory_faults import MemoryFault
from linktool.machine import Machine

NONE, RAM, ROM, IO = range(4)
_KINDS = {"none": NONE, "ram": RAM, "rom": ROM, "io": IO}


class Bus:
    """64 KiB as the machine's memory map has them. `bus[address]` is what the processor's own code uses.

    cells    what RAM and ROM hold, by address
    plain    by page: 1 where reads are plain; open to plain writes where `loose` is 1
    changes  grows with everything that could make a program take another way next time round
    """

    def __init__(self, machine: Machine, power_up: bytes, seconds: Callable[[], float]) -> None:
        self.seconds = seconds
        self.cells = bytearray(power_up)
        self.kinds = bytearray(0x10000)
        for area in machine.areas:
            kind = _KINDS[area.kind]
            self.kinds[area.range.first : area.range.last + 1] = bytes([kind]) * len(area.range)
        self.changes = 0
        self.readers: dict[int, Callable[[], int]] = {}
        self.writers: dict[int, Callable[[int], None]] = {}
        self.faults: tuple[MemoryFault, ...] = ()
        self.plain = bytearray(0x100)
        self.loose = bytearray(0x100)
        self._sort_pages()

    def _sort_pages(self) -> None:
        for page in range(0x100):
            kinds = set(self.kinds[page << 8 : (page + 1) << 8])
            self.plain[page] = kinds <= {RAM, ROM}
            self.loose[page] = kinds == {RAM}

    def fit(self, faults: Iterable[MemoryFault]) -> None:
        """Put memory faults on the board; their pages go the long way from now on."""
        self.faults = tuple(faults)
        for fault in self.faults:
            for page in fault.pages():
                self.plain[page] = self.loose[page] = 0
        for address in sorted({address for fault in self.faults for address in fault.forced()}):
            if self.kinds[address] == RAM:
                self._keep(address, self.cells[address])

    def reader(self) -> Callable[[int], int]:
        """A function that reads a byte: a little faster than `bus[address]`."""
        plain, cells, other = self.plain, self.cells, self._other_read

        def read(address: int) -> int:
            return cells[address] if plain[address >> 8] else other(address)

        return read

    def __getitem__(self, address: int) -> int:
        return self.cells[address] if self.plain[address >> 8] else self._other_read(address)

    def __setitem__(self, address: int, value: int) -> None:
        if self.loose[address >> 8]:
            cells = self.cells
            if cells[address] != value:
                cells[address] = value
                self.changes += 1
        else:
            self._other_write(address, value)

    def _other_read(self, address: int) -> int:
        place = self.place(address)
        if place in self.readers:
            return self.readers[place]()
        value = self.look(address)
        for fault in self.faults:
            value = fault.reads(self, address, value)
        return value

    def _other_write(self, address: int, value: int) -> None:
        place = self.place(address)
        if place in self.writers:
            self.writers[place](value)
        else:
            self.put(address, value)

    def put(self, address: int, value: int) -> None:
        """Write to the RAM at `address`, if there is any; no register is touched."""
        place = self.place(address)
        if place is not None and self.kinds[place] == RAM:
            self._keep(place, value)

    def _keep(self, place: int, value: int) -> None:
        old = self.cells[place]
        for fault in self.faults:
            value = fault.writes(self, place, old, value)
        if value != old:
            self.cells[place] = value
            self.changes += 1
        for fault in self.faults:
            fault.written(self, place, old, value)

    def place(self, address: int) -> int | None:
        """The cell that answers at `address` once faults of the address lines have acted; None: nobody."""
        place: int | None = address
        for fault in self.faults:
            if place is None:
                return None
            place = fault.route(place)
        return place

    def look(self, address: int) -> int:
        """What the memory holds at `address`, with the faults that always act; no register is touched."""
        place = self.place(address)
        there = place is not None and self.kinds[place] in (RAM, ROM)
        value = self.cells[place] if place is not None and there else address >> 8
        for fault in self.faults:
            value = fault.shows(self, address, value)
        return value
