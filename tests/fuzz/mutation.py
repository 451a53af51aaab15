"""Samples with something wrong in them: bytes turned, put in, left out, doubled, exchanged."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

TELLING = (
    b"\x00", b"\xff", b"\x1b[", b"\n", b"\r", b"\"", b"'", b"\\", b"[" * 40, b"{" * 40, b"(" * 40, b"9" * 40,
    b"-1", b"FFFF", b"10000", b"1e999", b"nan", b":", b",", b"=", b"../",
    b"\xc3\x28", b"\xe2\x80\xae", b"%s", b"{0}",
)  # fmt: skip


def mutated(samples: Sequence[bytes], random: Random) -> bytes:
    """One sample with one to eight things wrong."""
    data = bytearray(random.choice(samples))
    for _ in range(random.randint(1, 8)):
        at = random.randint(0, len(data))
        kind = random.randrange(8)
        if kind == 0 and data:
            data[min(at, len(data) - 1)] ^= 1 << random.randrange(8)
        elif kind == 1:
            data[at:at] = random.choice(TELLING)
        elif kind == 2:
            del data[at : at + random.randint(1, 1 + len(data) // 4)]
        elif kind == 3:
            part = data[at : at + random.randint(1, 64)]
            data[at:at] = part * random.randint(1, 4)
        elif kind == 4:
            data[at:at] = bytes(random.randrange(256) for _ in range(random.randint(1, 6)))
        elif kind == 5:
            other = random.choice(samples)
            data[at:] = other[random.randint(0, len(other)) :]
        elif kind == 6 and data:
            data[min(at, len(data) - 1)] = random.randrange(256)
        else:
            there = random.randint(0, len(data))
            data[at : at + 8], data[there : there + 8] = data[there : there + 8], data[at : at + 8]
    return bytes(data[: 1 << 16])
