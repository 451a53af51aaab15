"""What was written to memory and what was read back: the material a diagnosis works on. Pure.

A sample is one byte: its address, what it should hold, and every reading of it. A round is a set of samples
that were all written before any of them was read: only then do addresses that share a cell show it. A bank is
a stretch of memory that is selected as one, with the chips that serve it: what a fault has for its scope.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

from formats.image import Image, Range
from linktool.machine import Chip, Machine

Source = Literal["check", "survey", "pattern", "march", "rom"]


@dataclass(frozen=True)
class Sample:
    """One byte: what it should hold, and what was read, in order."""

    address: int
    expected: int
    readings: tuple[int, ...]

    @property
    def steady(self) -> bool:
        """Every reading gave the same byte."""
        return len(set(self.readings)) == 1

    @property
    def found(self) -> int:
        """The last reading."""
        return self.readings[-1]

    @property
    def wrong(self) -> int:
        """The bits that do not agree, as a mask."""
        return self.expected ^ self.found


Round = tuple[Sample, ...]


@dataclass(frozen=True)
class Evidence:
    """source: how it was taken. rounds: see above. noise: bytes that read wrong once and right when read
    again. whole: every wrong byte of the addresses looked at is among the samples (a march stops early)."""

    source: Source
    rounds: tuple[Round, ...]
    noise: int = 0
    whole: bool = True

    def samples(self) -> Iterator[Sample]:
        for each in self.rounds:
            yield from each

    @property
    def wrong(self) -> int:
        """How many samples read wrong, or not the same each time."""
        return sum(1 for sample in self.samples() if sample.wrong or not sample.steady)


def from_images(
    source: Source, expected: Image, found: Image, unsteady: Iterable[int] = (), noise: int = 0
) -> Evidence:
    """One round from what should be there and what was read. Addresses that were not read are left out;
    an `unsteady` one counts as having read both ways."""
    shaky = set(unsteady)
    samples = []
    for address, value in expected.cells():
        read = found.get(address)
        if read is not None:
            samples.append(Sample(address, value, (value, read) if address in shaky else (read,)))
    return Evidence(source, (tuple(samples),), noise)


class Difference(Protocol):
    """What a check says of one address: jobs.report.Finding."""

    @property
    def address(self) -> int: ...

    @property
    def expected(self) -> int: ...

    @property
    def found(self) -> int | None: ...

    @property
    def kind(self) -> str: ...


def from_check(source: Source, proven: Image, differences: Iterable[Difference], noise: int = 0) -> Evidence:
    """What a check proved and what it found different. Bytes that could not be read are left out."""
    differing = [each for each in differences if each.found is not None]
    expected = proven.overlay(Image.from_cells((d.address, d.expected) for d in differing), "replace")
    found = proven.overlay(Image.from_cells((d.address, d.found or 0) for d in differing), "replace")
    return from_images(source, expected, found, (d.address for d in differing if d.kind == "unsteady"), noise)


@dataclass(frozen=True)
class Bank:
    """A stretch of memory that is selected as one. chips: those that serve it, if the profile tells."""

    range: Range
    kind: Literal["ram", "rom"]
    label: str
    chips: tuple[Chip, ...] = ()

    @property
    def lines(self) -> int:
        """How many address lines choose within it."""
        return (len(self.range) - 1).bit_length()

    def chip(self, bit: int) -> Chip | None:
        """The one chip that serves data bit `bit` of the whole bank; None where the profile does not tell."""
        serving = [chip for chip in self.chips if bit in chip.bits]
        return serving[0] if len(serving) == 1 else None

    def part(self, each: Round) -> Round:
        """The samples of a round that lie in this bank."""
        return tuple(sample for sample in each if sample.address in self.range)


def banks_of(machine: Machine) -> tuple[Bank, ...]:
    """The banks of a machine's RAM and ROM: as its chips divide them, else one an area of its memory map."""
    found: list[Bank] = []
    for area in machine.areas:
        if area.kind not in ("ram", "rom"):
            continue
        at = area.range.first
        inside = [chip for chip in machine.chips if chip.range.overlap(area.range) == chip.range]
        for where in sorted({chip.range for chip in inside}):
            if where.first < at:
                continue
            if where.first > at:
                found.append(Bank(Range(at, where.first - 1), area.kind, area.label))
            chips = tuple(chip for chip in inside if chip.range == where)
            found.append(Bank(where, area.kind, area.label, chips))
            at = where.last + 1
        if at <= area.range.last:
            found.append(Bank(Range(at, area.range.last), area.kind, area.label))
    return tuple(found)


def floats(address: int, value: int) -> bool:
    """Whether a byte is what an address reads where nothing drives the bus."""
    return value in (address >> 8, 0xFF, 0x00)
