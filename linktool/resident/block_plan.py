"""How long blocks should be, the marks they need around them, and what sending takes. Pure arithmetic."""

from __future__ import annotations

import math
from collections.abc import Iterable

from formats.image import Range
from linktool.machine import Link, Machine, characters_per_second
from linktool.resident.blocks import CLOSING, HEADER

LEAST_RATE_CPS = 960.0
"""An adapter is taken to be at least so fast when the receiver is given time: profiles may say too little."""

COPY_CYCLES, BLOCK_CYCLES = 15, 130
"""What the receiver takes a byte to move a block from its buffer, and a block besides."""

BESIDES = 4 + CLOSING + 1
"""Keys of a block besides its data: header, closing, mark."""

AROUND = BESIDES + 2
"""Characters besides the data that must arrive: those, the mark of the block before, the answer."""


def longest_block(size: int) -> int:
    """Data bytes a block may have with a buffer of `size`: whole threes, one place left for the rest."""
    return (size - HEADER - 1) // 3 * 3


def best_block(error_rate: float, longest: int) -> int:
    """Data bytes a block, a multiple of three, that bring the most a key when each key goes wrong with
    `error_rate`: n keys of data arrive whole with (1 - error_rate) ** (n + AROUND)."""
    if error_rate <= 0:
        return longest
    best, most = 3, 0.0
    for data in range(3, longest + 1, 3):
        keys = data * 4 // 3
        gain = keys / (keys + BESIDES) * (1 - error_rate) ** (keys + AROUND)
        if gain > most:
            best, most = data, gain
    return best


def key_s(link: Link, gap_s: float) -> float:
    """The least time a key can take, in seconds."""
    return gap_s or min(1 / LEAST_RATE_CPS, 1 / characters_per_second(link))


def marks_behind(machine: Machine, count: int, gap_s: float = 0.0) -> int:
    """Marks behind a block of `count` data bytes: time for the receiver to move it."""
    moved_s = (COPY_CYCLES * count + BLOCK_CYCLES) / machine.clock_hz
    return max(1, math.ceil(moved_s / key_s(machine.link, gap_s)))


def marks_before(machine: Machine, keys: int, period_s: float, gap_s: float = 0.0) -> int:
    """Marks before a block of so many keys: the display must have taken the answer to the one before."""
    return max(0, math.ceil(1.1 * period_s / key_s(machine.link, gap_s)) - keys - 1)


def transfer_keys(machine: Machine, size: int, ranges: Iterable[Range]) -> int:
    """Keys that sending these ranges takes when nothing goes wrong."""
    longest = longest_block(size)
    keys = 0
    for each in ranges:
        count = math.ceil(len(each) / longest)
        keys += math.ceil(len(each) / 3) * 4 + count * (4 + CLOSING + marks_behind(machine, longest))
    return keys
