"""The checksum program sums any range, over page ends and up to the last byte of memory."""

from __future__ import annotations

import binascii
import random

import pytest

from linktool import library, machine
from linktool.errors import RefusedError
from tests.programs.rig import Rig

HERON = machine.load("heron")


@pytest.mark.parametrize(
    ("first", "length"),
    [(0x1000, 1), (0x10FF, 2), (0x1000, 256), (0x1001, 255), (0x12F0, 777), (0xFF00, 256)],
)
def test_it_agrees_with_the_library_function(first: int, length: int) -> None:
    built = library.build(
        library.load("checksum"), HERON, parameters={"first": first, "last": first + length - 1}
    )
    rig = Rig(HERON)
    data = bytes(rig.memory.bytes[first : first + length])
    if first < 0xFF00:
        data = random.Random(length).randbytes(length)
        rig.memory.bytes[first : first + length] = data
    text = rig.run(built)
    assert text == f"\n{binascii.crc_hqx(data, 0):04X}"
    verdict = library.judge(built, text)
    assert verdict.sentence == f"the checksum of {first:04X}-{first + length - 1:04X} is {text[1:]}"


def test_a_wrong_sum_of_known_bytes_is_told() -> None:
    built = library.build(library.load("checksum"), HERON)
    right = library.expected_screen(built)[0]
    verdict = library.judge(built, "\r0000\r=")
    assert not verdict.ok
    assert verdict.sentence.endswith(f"is 0000, and it should be {right}")
    assert verdict.findings == ({"crc": 0},)


def test_it_does_not_read_registers() -> None:
    with pytest.raises(RefusedError, match="9F00-9F03"):
        library.build(library.load("checksum"), HERON, parameters={"first": 0x9E00, "last": 0x9FFF})
