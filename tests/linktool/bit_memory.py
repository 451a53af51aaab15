"""A memory modelled bit by bit, with faults by their published definitions; it shares no code with the
diagnosis or the simulated board. A. J. van de Goor, "Using march tests to test SRAMs", IEEE Design & Test
10(1), 1993, 8-14: a stuck-at cell holds its value; a decoder fault makes an address reach no cell, another
one, or one that another address reaches too; bridged lines carry the AND or the OR of both.
"""

from __future__ import annotations

from collections.abc import Callable

from formats.image import Image
from linktool.evidence import Evidence, Sample, Source


class BitMemory:
    """64 KiB of bits. decode: the cell an address reaches for one bit, None for no cell; write and read bend
    a whole byte at an address."""

    def __init__(self) -> None:
        self.bits: dict[tuple[int, int], int] = {}
        self.decode: Callable[[int, int], int | None] = lambda address, bit: address
        self.bend: Callable[[int, int], int] = lambda address, value: value

    def put(self, address: int, value: int) -> None:
        value = self.bend(address, value)
        for bit in range(8):
            cell = self.decode(address, bit)
            if cell is not None:
                self.bits[cell, bit] = value >> bit & 1

    def get(self, address: int) -> int:
        value = 0
        for bit in range(8):
            cell = self.decode(address, bit)
            level = (address >> 8 >> bit & 1) if cell is None else self.bits.get((cell, bit), 0)
            value |= level << bit
        return self.bend(address, value)


def evidence(memory: BitMemory, images: list[Image], source: Source = "pattern") -> Evidence:
    """Each image written whole, then read whole."""
    rounds = []
    for image in images:
        for address, value in image.cells():
            memory.put(address, value)
        rounds.append(tuple(Sample(a, v, (memory.get(a),)) for a, v in image.cells()))
    return Evidence(source, tuple(rounds))
