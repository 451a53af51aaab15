"""How much of a dump that came spoilt still proves. Pure.

On a link with faults one row in four comes with a wrong character in it. The row is known beforehand where
it is read for proof, so what stands right before the first fault and after the last one is proven all the
same, and only the bytes between are asked for again. A row must begin with its own address to count.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from formats.image import Image, Range, hex4
from linktool import dialect as speech
from linktool.machine import Dialect

_SHAPE = frozenset("0123456789ABCDEF ")


@dataclass
class Salvage:
    """proven: addresses that came as expected. other: rows that came in good shape with other bytes."""

    proven: set[int] = field(default_factory=set)
    other: set[int] = field(default_factory=set)


def salvage(dialect: Dialect, expected: Image, wanted: Range, answer: str) -> Salvage:
    """Compare the answer to an examine of `wanted` with the bytes that should stand there."""
    result = Salvage()
    lines = answer.split("\r")
    for row in speech.rows(dialect, wanted):
        shape = speech.row_text(dialect, row).removesuffix("\r")
        want = _row(dialect, expected, row)
        head = shape[: shape.index(speech.ANY)]
        line = next((each for each in lines if each.startswith(head)), None)
        if line is None or hex4(row.first) not in head:
            continue
        places = [at for at, character in enumerate(shape) if character == speech.ANY]
        before = _same(want, line)
        after = _same(want[::-1], line[::-1])
        if len(line) == len(want) and _SHAPE.issuperset(line[len(head) :]):
            result.other.update(
                row.first + byte
                for byte in range(len(row))
                if any(line[at] != want[at] for at in places[2 * byte : 2 * byte + 2])
            )
        for byte in range(len(row)):
            first, last = places[2 * byte], places[2 * byte + 1]
            # The character behind a byte must stand too, or the row end: a digit may have been doubled.
            if last + 1 < before or first > len(want) - after or (before == len(want) == len(line)):
                result.proven.add(row.first + byte)
    return result


def _row(dialect: Dialect, expected: Image, row: Range) -> str:
    """The row as it should be printed."""
    text = speech.row_text(dialect, row).removesuffix("\r")
    digits = iter(expected.slice(row).segments[0].data.hex().upper())
    return "".join(next(digits) if character == speech.ANY else character for character in text)


def _same(first: str, second: str) -> int:
    """How many characters two texts begin with alike."""
    count = 0
    for one, other in zip(first, second, strict=False):
        if one != other:
            break
        count += 1
    return count
