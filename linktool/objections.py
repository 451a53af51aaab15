"""Why a program cannot run where it is to stand: every reason, each a RefusedError with a sentence.

Its own bytes must not lie in reserved areas, ROM, I/O or holes, nor cross a page where its timing
forbids it. What it reads must not be I/O registers, where looking is doing. What it writes must be
neither itself, nor its cells, nor anything reserved, save where it puts back at once what was there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from formats.image import Image, Range, hex4
from linktool.errors import RefusedError
from linktool.expression import value_of
from linktool.machine import Machine, Reserved
from linktool.program import Program, Span


@dataclass(frozen=True)
class Stand:
    """A program about to stand somewhere: where its bytes are, its cells, and the values it is given."""

    program: Program
    machine: Machine
    image: Image
    cells: Range | None
    values: Mapping[str, int]
    forced: tuple[str, ...] = ()

    def objections(self) -> Iterator[RefusedError]:
        """Every reason why the program cannot stand there."""
        where = self.image.extent
        hindrances = self.machine.hindrances(self.image, self.forced)
        if hindrances:
            yield self.refused(f"at {where} overlaps {_named(hindrances)}", "Give it another place with --at")
        if self.program.one_page and where and where.first >> 8 != where.last >> 8:
            yield self.refused(
                f"at {where} crosses a page, which would spoil its timing", "Give it another place"
            )
        for span in self.program.reads:
            yield from self.against_reading(span)
        for span in self.program.writes:
            yield from self.against_writing(span)

    def check_ranges(self) -> None:
        """RefusedError where what it is to read or write is no range of addresses."""
        for span in (*self.program.reads, *self.program.writes):
            self.addresses(span)

    def against_reading(self, span: Span) -> Iterator[RefusedError]:
        whole, _ = self.addresses(span)
        registers = [area for area in self.machine.areas if area.kind == "io" and "io" not in self.forced]
        touched = [Reserved("io", area.range, area.label) for area in registers if whole.overlap(area.range)]
        if touched:
            yield self.refused(f"would read {whole}, which holds {_named(touched)}", "Give another range")

    def against_writing(self, span: Span) -> Iterator[RefusedError]:
        whole, parts = self.addresses(span)
        own = [segment.range for segment in self.image.segments]
        if any(part.overlap(each) for part in parts for each in own):
            yield self.refused(
                f"would write to {whole} while it sits at {self.image.extent}",
                "Move it with --at, or give another range",
            )
        if self.cells and any(part.overlap(self.cells) for part in parts):
            yield self.refused(f"would write to {whole}, where its own cells are ({self.cells})")
        if not span.restores:
            hindrances = self.machine.hindrances(
                Image.from_bytes(whole.first, bytes(len(whole))), self.forced
            )
            if hindrances:
                yield self.refused(
                    f"would write to {whole}, which overlaps {_named(hindrances)}", "Give another range"
                )

    def addresses(self, span: Span) -> tuple[Range, list[Range]]:
        """A span as the range it lies in and the ranges it is."""
        known = {**self.machine.symbols, **self.values}
        first, last, step = (value_of(text, known) for text in (span.first, span.last, span.step))
        if last < first:
            raise self.refused(f"is given a range that runs backwards: {hex4(first)} to {hex4(last)}")
        if first < 0 or last > 0xFFFF:
            raise self.refused(f"would go to {last if last > 0xFFFF else first:X}, outside 0000-FFFF")
        whole = Range(first, last)
        return whole, [whole] if step <= 1 else [Range(each, each) for each in range(first, last + 1, step)]

    def refused(self, reason: str, hint: str = "") -> RefusedError:
        return RefusedError(f"{self.program.name} {reason}", hint)


def _named(areas: Iterable[Reserved]) -> str:
    return "; ".join(f"{each.name} ({each.range}, {each.reason})" for each in areas)
