"""The checksum program against published check values and the Python library's own function.

Sources: RevEng, Catalogue of parametrised CRC algorithms: CRC-16/XMODEM (polynomial 1021, init 0000, not
reflected) has the check value 31C3 for "123456789". binascii.crc_hqx(data, 0) is that algorithm (Python
library documentation). crc_hqx(b"\\x01", 0) is 1021 (CPython issue 73190).
"""

from __future__ import annotations

import binascii
import random

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

HERON = machine.load("heron")


def summed(data: bytes) -> str:
    last = 0x1000 + len(data) - 1
    built = library.build(library.load("checksum"), HERON, parameters={"first": 0x1000, "last": last})
    rig = Rig(HERON)
    rig.memory.bytes[0x1000 : last + 1] = data
    return rig.run(built).strip("\n")


@pytest.mark.parametrize(
    ("data", "check"),
    [
        (b"123456789", "31C3"),
        (b"A", "58E5"),
        (b"\x01", "1021"),
        (bytes(256), "0000"),
        (bytes(range(256)), "7E55"),
        (b"\xff" * 256, "1AC7"),
        (b"\0\0\0A", "58E5"),  # init 0000 does not see leading zeros
    ],
)
def test_check_values(data: bytes, check: str) -> None:
    assert summed(data) == check
    assert f"{binascii.crc_hqx(data, 0):04X}" == check


@pytest.mark.parametrize("seed", range(12))
def test_random_blocks(seed: int) -> None:
    chance = random.Random(seed)
    data = chance.randbytes(chance.randrange(1, 600))
    assert summed(data) == f"{binascii.crc_hqx(data, 0):04X}"
