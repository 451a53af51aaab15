"""Placement: bytes put at addresses by numbered records, with the rule for a byte given twice.

The same byte with the same value is a warning, with two values an error that names both records;
an address outside 0000-FFFF is an error. Cost is linear in the bytes put. Every reader of a format
that carries addresses collects its image here.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable

from formats.errors import FormatError
from formats.image import TOP, Image, Range

_SIZE = TOP + 1
_WARNINGS_SHOWN = 10
_RUN = re.compile(rb"\x01+")


def line_name(number: int) -> str:
    return f"line {number}"


class Placement:
    """An image in the making. `name_of` turns a record's number (1 or more) into words for messages."""

    def __init__(self, source: str, name_of: Callable[[int], str] = line_name) -> None:
        self.source = source
        self.name_of = name_of
        self._values = bytearray(_SIZE)
        self._held = bytearray(_SIZE)
        self._records = array("L", bytes(array("L").itemsize * _SIZE))
        self._repeats: dict[tuple[int, int], list[int]] = {}

    def put(self, first: int, data: bytes, record: int) -> None:
        """Place `data` at `first`; FormatError outside 0000-FFFF or where another value stands."""
        if not data:
            return
        end = first + len(data)
        if first < 0 or end > _SIZE:
            raise FormatError(
                self.source,
                self.name_of(record),
                f"it places bytes at {first:04X}-{end - 1:04X}",
                "addresses within 0000-FFFF",
            )
        if self._held.find(1, first, end) >= 0:
            self._compare(first, data, record)
        self._values[first:end] = data
        self._held[first:end] = b"\x01" * len(data)
        self._records[first:end] = array("L", [record]) * len(data)

    def _compare(self, first: int, data: bytes, record: int) -> None:
        for address, new in enumerate(data, first):
            if not self._held[address]:
                continue
            old, earlier = self._values[address], self._records[address]
            if old != new:
                raise FormatError(
                    self.source,
                    self.name_of(record),
                    f"{address:04X} is {new:02X} here and {old:02X} at {self.name_of(earlier)}",
                    "one value for each address",
                )
            ends = self._repeats.setdefault((record, earlier), [address, address])
            ends[1] = address

    def empty(self) -> bool:
        return self._held.find(1) < 0

    def image(self, start: int | None = None) -> Image:
        """What was placed."""
        held = bytes(self._held)
        return Image.from_runs(
            ((run.start(), bytes(self._values[run.start() : run.end()])) for run in _RUN.finditer(held)),
            start,
        )

    def warnings(self) -> tuple[str, ...]:
        """One sentence for each record that gives again what an earlier one gave; ten are spelled out."""
        sentences = [
            f"{self.source}, {self.name_of(record)}: {Range(first, last)} is given again, "
            f"with the same value as at {self.name_of(earlier)}"
            for (record, earlier), (first, last) in list(self._repeats.items())[:_WARNINGS_SHOWN]
        ]
        more = len(self._repeats) - len(sentences)
        if more:
            sentences.append(f"{self.source}: {more} more records give bytes again, with the same values")
        return tuple(sentences)
