"""The sums the checker prints, computed here from the bytes that should be there. Pure.

A sum is 24 bits: a CRC-16 (polynomial 1021, high bit first, as binascii.crc_hqx) and, beside it, eight
bits that add up the CRC's low byte at every step. The CRC alone would call one wrong page in 65,536
right; the eight bits are no function of it, so a page whose CRC agrees by chance still differs there.
The start holds a 1, and the piece's length modulo 256, so that leading zeros and lengths count.
A stretch is summed in pieces: the first takes what is over 256, all others are 256 bytes long.
"""

from __future__ import annotations

import binascii

from formats.image import Range

PIECE = 256
SYMBOLS = 4
"""Characters a sum is printed as, six bits each."""


def _steps() -> list[int]:
    """For each byte that meets the CRC's high byte: what the step brings in, and above it (bit 16) what
    it adds to `extra` beside the new low byte: the bit the processor's shifts leave in its carry."""
    table = []
    for byte in range(256):
        mixed = byte ^ byte >> 4
        table.append(binascii.crc_hqx(bytes([byte]), 0) | (mixed >> 3 & 1) << 16)
    return table


STEPS = _steps()


def advance(state: int, data: bytes) -> int:
    """The sum after `data`, from `state` (CRC << 8 | extra, 24 bits)."""
    crc, extra = state >> 8, state & 0xFF
    for byte in data:
        step = STEPS[crc >> 8 ^ byte]
        crc = (crc << 8 ^ step) & 0xFFFF
        extra += (crc & 0xFF) + (step >> 16)
    return crc << 8 | extra & 0xFF


def start(length: int) -> int:
    """Where the sum of a piece of `length` bytes begins."""
    return 0x010000 | (length & 0xFF) << 8


def sum_of(data: bytes) -> int:
    """The sum of one piece, 1 to 256 bytes."""
    if not 1 <= len(data) <= PIECE:
        raise ValueError(f"a piece of {len(data)} bytes; 1 to {PIECE}")
    return advance(start(len(data)), data)


def printed(value: int) -> str:
    """A sum as the checker prints it."""
    return "".join(chr(0x20 + (value >> shift & 0x3F)) for shift in (18, 12, 6, 0))


def pieces(stretch: Range) -> list[Range]:
    """The pieces of a stretch, in the order their sums come."""
    first = stretch.first
    last = first + (len(stretch) - 1) % PIECE
    found = [Range(first, last)]
    while last < stretch.last:
        found.append(Range(last + 1, last + PIECE))
        last += PIECE
    return found


def request(stretch: Range) -> bytes:
    """What the checker's cells must hold before it is run over `stretch`: at, index, pieces, start."""
    whole = pieces(stretch)
    length = len(whole[0])
    index = -length & 0xFF
    at = (stretch.first - index) & 0xFFFF
    begun = start(length)
    return bytes([at & 0xFF, at >> 8, index, len(whole) & 0xFF, begun >> 16, begun >> 8 & 0xFF, begun & 0xFF])
