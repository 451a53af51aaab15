"""The blocks the receiver takes: bytes as keys of the 64-character set, six bits each. Pure.

A block is header (address less 1, count), data, filling up to a multiple of three bytes, and five keys that
make its sum come out as 0: one at will, three that the CRC decides, and the answer. Of the many choices one
is taken whose eight extra bits are 0 too; where there is none, other filling makes more. The sum is over the
keys as the receiver reads them, 2 * code + 1, not over the data: so a fault that this sum misses is no more
likely than any other to be missed by the checker's. The answer is one of 32 characters, and the last key:
the receiver needs no sequence number besides.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

from linktool.resident.sums import STEPS, advance

KEYS = tuple(chr(value + 0x40 if value < 0x20 else value) for value in range(64))
"""Value -> key: the low six bits of the code are the value."""

ANSWERS = "".join(KEYS[:32])
START = 0x010101
HEADER, CLOSING = 3, 5
"""Bytes of the header, keys that close a block."""

_INPUTS = tuple((2 * ord(key) + 1) & 0xFF for key in KEYS)


def spelled(data: bytes) -> str:
    """Bytes as keys, six bits each from the top, the last key filled up with zeros."""
    bits = int.from_bytes(data, "big") << (-len(data) * 8) % 6
    count = (len(data) * 8 + 5) // 6
    return "".join(KEYS[bits >> 6 * place & 0x3F] for place in range(count - 1, -1, -1))


def key_sum(keys: str, state: int = START) -> int:
    """The receiver's sum over `keys`."""
    return advance(state, bytes((2 * ord(key) + 1) & 0xFF for key in keys))


def block(address: int, data: bytes, answers: Iterable[str] = ANSWERS) -> tuple[str, str]:
    """The keys of a block, without its marks, and the answer it brings, the first of `answers` that fits.

    ValueError for no data, for more than 255 bytes, or for data beyond FFFF.
    """
    wanted = tuple(answers)
    found = tight_block(address, data, wanted)
    filler = 0
    while found is None:
        found = _closed((address - 1) & 0xFFFF, len(data), data, _filling(len(data), filler), wanted)
        filler += 1
    return found


def tight_block(address: int, data: bytes, answers: Iterable[str] = ANSWERS) -> tuple[str, str] | None:
    """The same with no more filling than must be; None where that has no closing, as one time in six."""
    if not 1 <= len(data) <= 255 or address + len(data) > 0x10000:
        raise ValueError(f"{len(data)} bytes at {address:04X} are no block")
    return _closed((address - 1) & 0xFFFF, len(data), data, bytes(-len(data) % 3), answers)


@lru_cache(maxsize=1)
def end_block() -> str:
    """The block that sends the receiver back to the monitor; the same on every machine."""
    found = _closed(0, 0, b"", b"", ANSWERS)
    assert found is not None
    return found[0]


def _closed(
    target: int, count: int, data: bytes, filling: bytes, answers: Iterable[str]
) -> tuple[str, str] | None:
    body = spelled(bytes([target & 0xFF, target >> 8, count]) + data + filling)
    state = key_sum(body)
    for answer in answers:
        for closing in _closings(state, ANSWERS.index(answer)):
            return body + "".join(KEYS[value] for value in closing), answer
    return None


def _filling(length: int, number: int) -> bytes:
    """Other filling for data of this length: three bytes more than must be."""
    return number.to_bytes(3, "big") + bytes(-length % 3)


def _closings(state: int, answer: int) -> Iterator[tuple[int, ...]]:
    """The keys (as values), `answer` the last, that bring `state` to 0."""
    solver = _solver()
    before_last = _INPUTS[answer] << 8  # the last key then meets its equal, and nothing is left
    for first in range(64):
        crc, extra = _step(state >> 8, state & 0xFF, first)
        for values in solver.between(crc, before_last):
            end, total = crc, extra
            for value in (*values, answer):
                end, total = _step(end, total, value)
            if total & 0xFF == 0:
                assert end == 0
                yield (first, *values, answer)


def _step(crc: int, extra: int, value: int) -> tuple[int, int]:
    step = STEPS[crc >> 8 ^ _INPUTS[value]]
    crc = (crc << 8 ^ step) & 0xFFFF
    return crc, extra + (crc & 0xFF) + (step >> 16)


def _zeros(crc: int) -> int:
    """The CRC after three bytes of zero."""
    return advance(crc << 8, bytes(3)) >> 8


class _Solver:
    """Three keys between two states of the CRC: linear over GF(2), 18 unknown bits, 16 equations."""

    def __init__(self) -> None:
        self._constant = self._three(0)
        rows = [(self._three(1 << bit) ^ self._constant, 1 << bit) for bit in range(18)]
        pivots: dict[int, tuple[int, int]] = {}
        free: list[int] = []
        for crc, keys in rows:
            while crc:
                top = crc.bit_length() - 1
                if top not in pivots:
                    pivots[top] = (crc, keys)
                    break
                crc, keys = crc ^ pivots[top][0], keys ^ pivots[top][1]
            else:
                free.append(keys)
        self._pivots = pivots
        self._null = [0, free[0], free[1], free[0] ^ free[1]]

    @staticmethod
    def _three(keys: int) -> int:
        crc = 0
        for shift in (12, 6, 0):
            crc, _ = _step(crc, 0, keys >> shift & 0x3F)
        return crc

    def between(self, crc: int, wanted: int) -> list[tuple[int, int, int]]:
        """All keys that lead from `crc` to `wanted`."""
        need, keys = _zeros(crc) ^ self._constant ^ wanted, 0
        while need:
            pivot = self._pivots[need.bit_length() - 1]
            need, keys = need ^ pivot[0], keys ^ pivot[1]
        return [(k >> 12 & 0x3F, k >> 6 & 0x3F, k & 0x3F) for k in (keys ^ null for null in self._null)]


@lru_cache(maxsize=1)
def _solver() -> _Solver:
    return _Solver()
