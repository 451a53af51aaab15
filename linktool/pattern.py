"""A quick pattern for a bank of memory: few addresses and values that tell its data and address lines apart.

From two base addresses each address line is turned alone, and one row around each is taken whole. Where a
line makes no difference, the address with it turned shares its cell with the base; where two lines are
joined, the pair of bases shows which level wins. Values differ from one another and between banks, every pair
of bits takes all four levels, and for each line every bit differs at one base or the other; so each chip
shows a dead line by itself. Addresses whose neighbours by one or two lines are reserved are avoided: a fault
must not hit the monitor. Pure: from a profile to cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from random import Random

from formats.image import Image, Range
from linktool.evidence import Bank
from linktool.machine import Machine

ROW = 8
_SALTS = tuple(
    (n & 1) * 0x0F ^ (n >> 1 & 1) * 0x33 ^ (n >> 2 & 1) * 0x55 ^ (n >> 3 & 1) * 0xFF for n in range(16)
)
"""Sixteen bytes of which any two differ in four bits at least (the extended Hamming code)."""


@dataclass(frozen=True)
class Pattern:
    """What to write to one bank: cells of two rounds, the second with every bit turned; the ranges that hold
    them, in which they are read; and those that are to be read several times."""

    bank: Bank
    first: Image
    second: Image
    reads: tuple[Range, ...]
    closely: tuple[Range, ...] = ()


CLOSELY = 64
"""Bytes that are looked at one by one at most: about a minute."""


def pattern_for(machine: Machine, bank: Bank, asked: Range | None = None) -> Pattern | None:
    """The pattern for a bank of RAM; None where its addresses are all reserved. Where `asked` meets the bank
    in no more than CLOSELY bytes, each of them is written too, and read several times."""
    size = len(bank.range)
    taken = frozenset(
        (address - bank.range.first) % (1 << bank.lines)
        for area in machine.reserved
        if machine.kind_at(area.range.first) == "ram"
        for address in range(area.range.first, area.range.last + 1)
    )
    mine = frozenset(
        address - bank.range.first
        for area in machine.reserved
        if (common := area.range.overlap(bank.range))
        for address in range(common.first, common.last + 1)
    )
    bases = _bases(bank.lines, size, taken, mine)
    if not bases:
        return None
    around = [_around(base, bank.lines, size, mine) for base in bases]
    offsets = sorted(set().union(*around, _opposite(bases[-1], bank.lines, size, mine)))
    salt = _SALTS[(bank.range.first >> bank.lines) % 16]
    values = _values(tuple(offsets), bases, bank.lines)
    cells = [(bank.range.first + offset, value ^ salt) for offset, value in zip(offsets, values, strict=True)]
    close = asked.overlap(bank.range) if asked else None
    added = []
    if close and len(close) <= CLOSELY:
        held = {address for address, _ in cells}
        added = [
            (address, address * 0x1D + 0x4B & 0xFF)
            for address in range(close.first, close.last + 1)
            if address - bank.range.first not in mine
        ]
        cells += [cell for cell in added if cell[0] not in held]
    first = Image.from_cells(cells)
    second = Image.from_cells((address, value ^ 0xFF) for address, value in cells)
    closely = _rows(Image.from_cells(added))
    return Pattern(bank, first, second, _rows(first), closely)


def _rows(image: Image) -> tuple[Range, ...]:
    """The stretches of the image, broken at multiples of a row."""
    found = []
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            last = min(at | (ROW - 1), segment.last)
            found.append(Range(at, last))
            at = last + 1
    return tuple(found)


@lru_cache(maxsize=32)
def _bases(lines: int, size: int, taken: frozenset[int], mine: frozenset[int]) -> tuple[int, ...]:
    """Two base offsets, near the top of the bank. The fewest addresses one or two lines away are taken."""
    top = (1 << lines) - 1
    half = top >> max(0, lines - 8)
    tried = [(top & ~half | half & 0x55, top & ~half | half & 0xAA)]
    random = Random(6502)
    for _attempt in range(200):
        low = random.getrandbits(lines)
        tried.append((low, low ^ half))
    best: tuple[int, ...] = ()
    least = float("inf")
    for pair in tried:
        walks = [_walk(base, lines, size) for base in pair]
        if any(base in mine or base >= size for base in pair):
            continue
        near = {each for walk in walks for each in walk}
        far = {each ^ 1 << line for each in near for line in range(lines)}
        lost = sum(1 for base, walk in zip(pair, walks, strict=True) if len(walk) <= lines)
        score = 100 * len(near & taken) + len(far & taken) + 50 * lost
        if score < least:
            best, least = pair, score
            if not score:
                break
    return best


def _walk(base: int, lines: int, size: int) -> list[int]:
    """The base, and the base with each line turned alone."""
    return [each for each in (base, *(base ^ 1 << line for line in range(lines))) if each < size]


def _around(base: int, lines: int, size: int, mine: frozenset[int]) -> set[int]:
    """A base's walk and its row, without what is reserved."""
    row = base - base % ROW
    wanted = {*_walk(base, lines, size), *range(row, min(row + ROW, size))}
    return {offset for offset in wanted - mine if offset < size}


def _opposite(base: int, lines: int, size: int, mine: frozenset[int]) -> set[int]:
    """An address in the quarter of the bank that a base's walk leaves out."""
    offset = base ^ 3 << lines - 2 if lines > 2 else base
    return {offset} - mine if offset < size else set()


@lru_cache(maxsize=32)
def _values(offsets: tuple[int, ...], bases: tuple[int, ...], lines: int) -> tuple[int, ...]:
    """A value for each offset, as the opening text of this file asks for."""
    random = Random(len(offsets))
    best: dict[int, int] = {}
    least = 1 << 30
    for _attempt in range(400):
        chosen = dict(zip(offsets, random.sample(range(256), len(offsets)), strict=True))
        for line in range(lines):
            one, other = bases[0] ^ 1 << line, bases[-1] ^ 1 << line
            if one in chosen and other in chosen:
                turned = chosen[bases[0]] ^ chosen[one] ^ 0xFF
                chosen[other] = chosen[bases[-1]] ^ turned
        values = list(chosen.values())
        missing = len(values) - len(set(values))
        for first, second in combinations(range(8), 2):
            levels = [value >> first & 1 | (value >> second & 1) << 1 for value in values]
            missing += sum(levels.count(level) < 3 for level in range(4))
        if missing < least:
            best, least = chosen, missing
            if not missing:
                break
    return tuple(best[offset] for offset in offsets)
