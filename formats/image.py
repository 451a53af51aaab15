"""Image: frozen sparse memory, bytes at addresses 0000..FFFF, with an optional start address.

A gap is a gap: it is never read as 00 or FF. Segments are sorted, do not touch and do not overlap.
Nothing here knows about files or machines.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Literal

TOP = 0xFFFF

OverlayPolicy = Literal["refuse", "same", "replace"]


def hex4(address: int) -> str:
    """An address as users see it: four upper-case hex digits."""
    return f"{address:04X}"


@dataclass(frozen=True, order=True)
class Range:
    """Addresses first..last, both included; 0 <= first <= last <= FFFF, else ValueError."""

    first: int
    last: int

    def __post_init__(self) -> None:
        if not 0 <= self.first <= TOP or not 0 <= self.last <= TOP:
            raise ValueError(f"range {self.first:X}-{self.last:X} leaves 0000-FFFF")
        if self.last < self.first:
            raise ValueError(f"range {self} runs backwards")

    def __len__(self) -> int:
        return self.last - self.first + 1

    def __contains__(self, address: object) -> bool:
        return isinstance(address, int) and self.first <= address <= self.last

    def __str__(self) -> str:
        return hex4(self.first) if self.first == self.last else f"{hex4(self.first)}-{hex4(self.last)}"

    def overlap(self, other: Range) -> Range | None:
        """The addresses both ranges hold, or None."""
        first, last = max(self.first, other.first), min(self.last, other.last)
        return Range(first, last) if first <= last else None


@dataclass(frozen=True)
class Segment:
    """A run of bytes without a gap; never empty."""

    first: int
    data: bytes

    @property
    def last(self) -> int:
        return self.first + len(self.data) - 1

    @property
    def range(self) -> Range:
        return Range(self.first, self.last)


@dataclass(frozen=True)
class Difference:
    """One address where two images differ; None stands for a gap."""

    address: int
    expected: int | None
    found: int | None


class OverlapError(ValueError):
    """Two images claim the same address; `address` is the first one, with both values."""

    def __init__(self, address: int, old: int, new: int) -> None:
        self.address, self.old, self.new = address, old, new
        super().__init__(f"{hex4(address)} is given twice: {old:02X} and {new:02X}")


@dataclass(frozen=True)
class Image:
    """Sparse bytes at 16-bit addresses. Build one with `Image.of`, `from_bytes` or `from_runs`."""

    segments: tuple[Segment, ...] = ()
    start: int | None = None
    _firsts: tuple[int, ...] = field(init=False, repr=False, compare=False, default=())

    def __post_init__(self) -> None:
        previous = -2
        for segment in self.segments:
            if not segment.data:
                raise ValueError("a segment is never empty")
            if segment.first <= previous + 1 or segment.last > TOP:
                raise ValueError(
                    f"segments must be sorted, apart and within 0000-FFFF: {hex4(segment.first)}"
                )
            previous = segment.last
        if self.start is not None and not 0 <= self.start <= TOP:
            raise ValueError(f"start address {self.start:X} leaves 0000-FFFF")
        object.__setattr__(self, "_firsts", tuple(segment.first for segment in self.segments))

    @classmethod
    def from_bytes(cls, first: int, data: bytes, start: int | None = None) -> Image:
        """One segment at `first`; no data gives an empty image. ValueError where it leaves 0000-FFFF."""
        return cls.from_runs([(first, data)], start)

    @classmethod
    def from_runs(cls, runs: Iterable[tuple[int, bytes]], start: int | None = None) -> Image:
        """Runs in any order, joined where they touch. OverlapError where two of them meet."""
        joined: list[tuple[int, bytearray]] = []
        for first, data in sorted(((f, d) for f, d in runs if d), key=lambda run: run[0]):
            if first < 0 or first + len(data) - 1 > TOP:
                raise ValueError(f"bytes at {first:X}-{first + len(data) - 1:X} leave 0000-FFFF")
            if joined:
                before, held = joined[-1]
                end = before + len(held)
                if first < end:
                    raise OverlapError(first, held[first - before], data[0])
                if first == end:
                    held += data
                    continue
            joined.append((first, bytearray(data)))
        return cls(tuple(Segment(first, bytes(data)) for first, data in joined), start)

    @classmethod
    def from_cells(cls, cells: Iterable[tuple[int, int]], start: int | None = None) -> Image:
        """Single bytes (address, value) in any order; a later one replaces an earlier one."""
        held = dict(cells)
        runs: list[tuple[int, bytearray]] = []
        for address in sorted(held):
            if runs and runs[-1][0] + len(runs[-1][1]) == address:
                runs[-1][1].append(held[address])
            else:
                runs.append((address, bytearray([held[address]])))
        return cls.from_runs(((first, bytes(data)) for first, data in runs), start)

    def __len__(self) -> int:
        return sum(len(segment.data) for segment in self.segments)

    def __bool__(self) -> bool:
        return bool(self.segments)

    def __contains__(self, address: object) -> bool:
        return isinstance(address, int) and self.get(address) is not None

    def get(self, address: int) -> int | None:
        """The byte at `address`, or None in a gap."""
        at = bisect_right(self._firsts, address) - 1
        if at < 0:
            return None
        segment = self.segments[at]
        return segment.data[address - segment.first] if address <= segment.last else None

    def cells(self) -> Iterator[tuple[int, int]]:
        """Every (address, value), ascending."""
        for segment in self.segments:
            yield from enumerate(segment.data, segment.first)

    @property
    def extent(self) -> Range | None:
        """First to last address held, gaps included; None when empty."""
        return Range(self.segments[0].first, self.segments[-1].last) if self.segments else None

    def slice(self, wanted: Range) -> Image:
        """The bytes inside `wanted`, gaps kept; the start address stays."""
        runs = []
        for segment in self.meeting(wanted):
            first, last = max(segment.first, wanted.first), min(segment.last, wanted.last)
            runs.append((first, segment.data[first - segment.first : last + 1 - segment.first]))
        return Image.from_runs(runs, self.start)

    def meeting(self, wanted: Range) -> tuple[Segment, ...]:
        """The segments that hold at least one address of `wanted`, whole."""
        at = max(bisect_right(self._firsts, wanted.first) - 1, 0)
        end = bisect_right(self._firsts, wanted.last)
        if at < end and self.segments[at].last < wanted.first:
            at += 1
        return self.segments[at:end]

    def without(self, unwanted: Range) -> Image:
        """The bytes outside `unwanted`."""
        runs: list[tuple[int, bytes]] = []
        for segment in self.segments:
            common = segment.range.overlap(unwanted)
            if not common:
                runs.append((segment.first, segment.data))
                continue
            runs.append((segment.first, segment.data[: common.first - segment.first]))
            runs.append((common.last + 1, segment.data[common.last + 1 - segment.first :]))
        return Image.from_runs(runs, self.start)

    def minus(self, unwanted: Image) -> Image:
        """The bytes at addresses that `unwanted` does not hold."""
        image = self
        for segment in unwanted.segments:
            image = image.without(segment.range)
        return image

    def moved(self, first: int) -> Image:
        """The same bytes with the lowest one at `first`; the start address moves along.

        ValueError where bytes or start address would leave 0000-FFFF.
        """
        if not self.segments:
            return self
        shift = first - self.segments[0].first
        if first < 0 or self.segments[-1].last + shift > TOP:
            raise ValueError(f"the bytes would reach {max(first, self.segments[-1].last + shift):X}")
        start = None if self.start is None else self.start + shift
        if start is not None and not 0 <= start <= TOP:
            raise ValueError(f"its start address {hex4(start - shift)} would leave 0000-FFFF")
        return Image(tuple(Segment(s.first + shift, s.data) for s in self.segments), start)

    def overlay(self, other: Image, policy: OverlayPolicy = "refuse") -> Image:
        """Both images in one. Where they meet: "refuse" raises OverlapError at any shared address,
        "same" only where the values differ, "replace" lets `other` win. `other`'s start address wins."""
        start = self.start if other.start is None else other.start
        for segment in other.segments if policy != "replace" else ():
            for address, old in self.slice(segment.range).cells():
                new = segment.data[address - segment.first]
                if policy == "refuse" or old != new:
                    raise OverlapError(address, old, new)
        kept: list[tuple[int, bytes]] = []
        for segment in self.segments:
            first = segment.first
            for hiding in other.meeting(segment.range):
                kept.append(
                    (first, segment.data[first - segment.first : max(hiding.first - segment.first, 0)])
                )
                first = hiding.last + 1
            kept.append((first, segment.data[first - segment.first :]))
        return Image.from_runs([*kept, *((s.first, s.data) for s in other.segments)], start)

    def difference(self, found: Image) -> tuple[Difference, ...]:
        """Addresses where `found` does not hold what this image does (gaps of this image do not count)."""
        result = []
        for segment in self.segments:
            there = found.slice(segment.range)
            if there.segments == (segment,):
                continue
            for address, expected in enumerate(segment.data, segment.first):
                value = there.get(address)
                if value != expected:
                    result.append(Difference(address, expected, value))
        return tuple(result)
