"""fill and move do what their descriptions say, for any range and any overlap."""

from __future__ import annotations

import random

import pytest

from linktool import library, machine
from linktool.errors import RefusedError
from tests.programs.rig import Rig

HERON = machine.load("heron")


@pytest.mark.parametrize(
    ("first", "last"), [(0x1000, 0x1000), (0x10FE, 0x1101), (0x1000, 0x1FFF), (0x1101, 0x11FE)]
)
def test_fill_fills_its_range_and_nothing_else(first: int, last: int) -> None:
    built = library.build(
        library.load("fill"), HERON, parameters={"first": first, "last": last, "value": 0xA5}
    )
    rig = Rig(HERON)
    rig.run(built)
    assert rig.ended
    assert rig.memory.bytes[first - 1] == rig.memory.bytes[last + 1] == 0
    assert set(rig.memory.bytes[first : last + 1]) == {0xA5}
    assert built.leaves.segments[0].data == bytes([0xA5]) * (last - first + 1)


@pytest.mark.parametrize(
    ("first", "length", "to"),
    [
        (0x1000, 1, 0x1001),
        (0x1000, 0x300, 0x2000),
        (0x1080, 0x300, 0x1081),  # up by one, overlapping
        (0x1081, 0x300, 0x1080),  # down by one, overlapping
        (0x1000, 0x200, 0x10FF),
        (0x1100, 0x200, 0x1001),
        (0x1000, 0x100, 0x1000),
        (0xFF00, 0x100, 0x3F00),  # out of ROM, to the last page of RAM
    ],
)
def test_move_moves_as_if_through_a_second_copy(first: int, length: int, to: int) -> None:
    parameters = {"first": first, "last": first + length - 1, "to": to}
    built = library.build(library.load("move"), HERON, parameters=parameters)
    rig = Rig(HERON)
    memory = rig.memory.bytes
    if first < 0xFF00:
        memory[first : first + length] = random.Random(to).randbytes(length)
    wanted = bytearray(memory)
    wanted[to : to + length] = memory[first : first + length]
    rig.run(built)
    assert rig.ended
    assert memory[0x1000:] == wanted[0x1000:]


def test_move_is_refused_where_the_copy_would_leave_ram() -> None:
    with pytest.raises(RefusedError, match="would write to 3F01-4000, which overlaps none"):
        library.build(library.load("move"), HERON, parameters={"first": 0x1000, "last": 0x10FF, "to": 0x3F01})
