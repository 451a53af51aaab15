"""Causes of memory faults, and whether one explains what was read. Pure.

The classes are those of the memory test literature (A. J. van de Goor, "Using march tests to test SRAMs",
IEEE Design & Test 10(1), 1993, 8-14): a stuck-at fault holds a bit; an address decoder fault lets an address
reach no cell, another cell, or a cell that other addresses reach too; a bridging fault joins two lines. A
decoder fault is judged by sharing: addresses that reach one cell must all read the same, which one of them
was to hold. So the order of writing need not be known. Retention and coupling faults are not told apart here
from single bad cells: that takes a march or a retention program.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from formats.image import Range
from linktool.evidence import Round, Sample, floats

Kind = Literal[
    "stuck",
    "joined bits",
    "dead line",
    "dead lines",
    "joined lines",
    "missing",
    "mirrored",
    "silent",
    "row",
    "cells",
    "other contents",
    "unsteady",
    "noise",
    "unclear",
]


@dataclass(frozen=True)
class Cause:
    """One thing that may be wrong.

    where      the banks; none at all means all RAM
    bits       data bits it concerns, of "joined bits" the two, the stronger one first where value is None
    lines      address lines: of a "dead line" the one, or those of which it is one; of the others the two
    value      stuck at; of joined ones which level wins (0 low, 1 high; None: the first bit)
    addresses  of "cells", "row", "other contents" and "unsteady": which
    other      "mirrored": the bank that answers for it
    """

    kind: Kind
    where: tuple[Range, ...] = ()
    bits: tuple[int, ...] = ()
    lines: tuple[int, ...] = ()
    value: int | None = None
    addresses: tuple[int, ...] = ()
    other: Range | None = None


ALL_BITS = tuple(range(8))


def mask_of(bits: Iterable[int]) -> int:
    return sum(1 << bit for bit in bits)


def bits_of(mask: int) -> tuple[int, ...]:
    return tuple(bit for bit in ALL_BITS if mask >> bit & 1)


# ---- does a cause explain the rounds? Each function returns how many samples speak for it, 0 for "no". ----


def stuck_at(rounds: Sequence[Round], bit: int, value: int) -> int:
    """Every reading of the bit is `value`; how many of them should have been the other."""
    speaking = 0
    for sample in _each(rounds):
        if sample.found >> bit & 1 != value:
            return 0
        speaking += sample.wrong >> bit & 1
    return speaking


def silent(rounds: Sequence[Round], mask: int) -> int:
    """The bits never depend on what was written: they read as the high half of the address, which a bus that
    nobody drives still holds (common practice), or came the same in two rounds that wrote differently."""
    samples = list(_each(rounds))
    wrong = sum(1 for sample in samples if sample.wrong & mask)
    if not wrong:
        return 0
    if all((sample.found ^ sample.address >> 8) & mask == 0 for sample in samples):
        return wrong if len({sample.found & mask for sample in samples}) > 1 else 0
    seen: dict[int, Sample] = {}
    changed = 0
    for sample in samples:
        before = seen.setdefault(sample.address, sample)
        if (before.found ^ sample.found) & mask:
            return 0
        changed |= (before.expected ^ sample.expected) & mask
    return wrong if changed == mask and len({sample.found & mask for sample in samples}) > 1 else 0


def nothing_there(rounds: Sequence[Round]) -> int:
    """A whole bank is silent: no bit depends on what was written, or all read one and the same byte. Where
    all was to hold one byte too, that says little, unless an empty bus reads so."""
    samples = list(_each(rounds))
    if len({sample.address for sample in samples}) < 2:
        return 0
    if len({sample.found for sample in samples}) == 1:
        varied = len({sample.expected for sample in samples}) > 1
        if varied or all(floats(sample.address, sample.found) for sample in samples):
            return sum(1 for sample in samples if sample.wrong)
    return silent(rounds, 0xFF)


def joined_bits(rounds: Sequence[Round], first: int, second: int, value: int | None) -> int:
    """Both bits always read the same: low or high wins as `value` says, or for None the first bit."""
    speaking = 0
    for sample in _each(rounds):
        a, b = sample.expected >> first & 1, sample.expected >> second & 1
        both = a if value is None else (a & b, a | b)[value]
        if (sample.found >> first & 1, sample.found >> second & 1) != (both, both):
            return 0
        speaking += a != b
    return speaking


Reach = Callable[[int], int]
"""Which cell an address reaches, as the lowest or highest address that reaches it."""


def dead(*lines: int) -> Reach:
    """The lines make no difference: open, or held at one level."""
    mask = mask_of(lines)
    return lambda address: address & ~mask


def joined(first: int, second: int, value: int) -> Reach:
    """Two lines are one: low wins (0) or high wins (1)."""
    both = 1 << first | 1 << second
    if value:
        return lambda address: address | both if address & both else address
    return lambda address: address if address & both == both else address & ~both


def sharing(rounds: Sequence[Round], mask: int, reach: Reach) -> int:
    """How many wrong samples (in the bits of `mask`) are explained by addresses sharing cells as `reach`
    says; 0 where one sample contradicts it."""
    speaking = 0
    for each in rounds:
        cells: dict[int, tuple[int, set[int]]] = {}
        for sample in each:
            found, expected = sample.found & mask, sample.expected & mask
            read, held = cells.setdefault(reach(sample.address), (found, set()))
            if read != found:
                return 0
            held.add(expected)
            speaking += expected != found
        if any(read not in held for read, held in cells.values()):
            return 0
    return speaking


def in_one_row(addresses: Iterable[int], lines: int) -> bool:
    """Whether the addresses share a row of the chip's array: one half of the address lines the same for all
    (memory chips divide their lines into row and column; which are which differs, so both are tried)."""
    low = (1 << lines // 2) - 1
    high = (1 << lines) - 1 & ~low
    return any(len({address & half for address in addresses}) == 1 for half in (low, high))


# ---- all causes that explain one bank ----


def wrong_bits(rounds: Sequence[Round]) -> int:
    """Every bit that read wrong somewhere, as a mask."""
    mask = 0
    for sample in _each(rounds):
        mask |= sample.wrong
    return mask


def of_all_bits(rounds: Sequence[Round], where: tuple[Range, ...], lines: int) -> dict[Cause, int]:
    """Causes that concern all eight bits, each with the number of samples that speak for it."""
    found = {Cause("missing", where, ALL_BITS): nothing_there(rounds)}
    found.update(_decoder(rounds, where, ALL_BITS, lines))
    return {cause: speaking for cause, speaking in found.items() if speaking}


def of_chip(
    rounds: Sequence[Round], where: tuple[Range, ...], bits: tuple[int, ...], lines: int
) -> dict[Cause, int]:
    """Causes within the chip, or the single data line, that serves `bits`."""
    mask = mask_of(bits)
    wrong = tuple(sorted({s.address for s in _each(rounds) if s.wrong & mask}))
    if not wrong:
        return {}
    found: dict[Cause, int] = {}
    if mask != 0xFF:
        found[Cause("silent", where, bits)] = silent(rounds, mask)
        found.update(_decoder(rounds, where, bits, lines))
    shown = tuple(bit for bit in bits if any(s.wrong >> bit & 1 for s in _each(rounds)))
    found[Cause("cells", where, shown, addresses=wrong)] = len(wrong)
    if len(wrong) > 2 and in_one_row(wrong, lines):
        found[Cause("row", where, shown, addresses=wrong)] = len(wrong)
    return {cause: speaking for cause, speaking in found.items() if speaking}


def of_data_lines(rounds: Sequence[Round], where: tuple[Range, ...]) -> dict[Cause, int]:
    """A data bit stuck, or two of them joined."""
    found = {
        Cause("stuck", where, (bit,), value=value): stuck_at(rounds, bit, value)
        for bit in ALL_BITS
        for value in (0, 1)
    }
    for first, second in combinations(ALL_BITS, 2):
        for value in (0, 1):
            cause = Cause("joined bits", where, (first, second), value=value)
            found[cause] = joined_bits(rounds, first, second, value)
        for one, other in ((first, second), (second, first)):
            found[Cause("joined bits", where, (one, other))] = joined_bits(rounds, one, other, None)
    return {cause: speaking for cause, speaking in found.items() if speaking}


def _decoder(
    rounds: Sequence[Round], where: tuple[Range, ...], bits: tuple[int, ...], lines: int
) -> dict[Cause, int]:
    mask = mask_of(bits)
    shown = _first_wrong(rounds, mask)
    found: dict[Cause, int] = {}

    def consider(cause: Cause, turns: tuple[int, ...], reach: Reach) -> None:
        if all(_has_partner(sample, held, mask, turns) for sample, held in shown):
            found[cause] = sharing(rounds, mask, reach)

    for line in range(lines):
        consider(Cause("dead line", where, bits, (line,)), (1 << line,), dead(line))
    for first, second in combinations(range(lines), 2):
        turns = (1 << first, 1 << second, 1 << first | 1 << second)
        if mask == 0xFF:
            consider(Cause("dead lines", where, bits, (first, second)), turns, dead(first, second))
        for value in (0, 1):
            cause = Cause("joined lines", where, bits, (first, second), value)
            consider(cause, turns, joined(first, second, value))
    return found


LOOKED_AT = 16
"""Wrong samples that are held against their neighbours before all samples are."""


def _first_wrong(rounds: Sequence[Round], mask: int) -> list[tuple[Sample, dict[int, int]]]:
    """A few wrong samples, each with what its round wrote where."""
    found: list[tuple[Sample, dict[int, int]]] = []
    for each in rounds:
        wrong = [sample for sample in each if sample.wrong & mask][:LOOKED_AT]
        held = {sample.address: sample.expected for sample in each} if wrong else {}
        found += [(sample, held) for sample in wrong]
    return found


def _has_partner(sample: Sample, held: dict[int, int], mask: int, turns: tuple[int, ...]) -> bool:
    """Whether one of the addresses with lines turned was to hold what the sample reads."""
    return any(
        (value := held.get(sample.address ^ turn)) is not None and not (value ^ sample.found) & mask
        for turn in turns
    )


def mirrors(rounds: Sequence[Round], one: Range, other: Range) -> int:
    """How many samples speak for `other` being reached at the addresses of `one`; 0 for "no"."""
    if len(one) != len(other):
        return 0
    shift = other.first - one.first
    shared = [tuple(s for s in each if s.address in one or s.address in other) for each in rounds]
    speaking = sharing(shared, 0xFF, lambda address: address + shift if address in one else address)
    held = [{sample.address for sample in each} for each in shared]
    paired = any(address in one and address + shift in each for each in held for address in each)
    return speaking if paired else 0


def _each(rounds: Sequence[Round]) -> Iterable[Sample]:
    for each in rounds:
        yield from each
