"""The address program names the address line that is open or shorted, and tells it from a data fault."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

HERON = machine.load("heron")


@pytest.fixture(scope="module")
def rig() -> Rig:
    return Rig(HERON)


def verdict(rig: Rig, wiring: Callable[[int], int]) -> library.Verdict:
    """The program's verdict on 1000-1FFF where an address reaches the cell that `wiring` gives."""
    built = library.build(library.load("address"), HERON, parameters={"first": 0x1000, "last": 0x1FFF})
    cells = bytearray(0x1000)

    def write(address: int, value: int, memory: bytearray) -> None:
        memory[address] = value
        if 0x1000 <= address < 0x2000:
            cells[wiring(address - 0x1000)] = value

    def read(address: int, value: int) -> int:
        return cells[wiring(address - 0x1000)] if 0x1000 <= address < 0x2000 else value

    rig.clear()
    rig.memory.on_write, rig.memory.on_read = write, read
    return library.judge(built, rig.run(built))


@pytest.mark.parametrize(("line", "level"), [(line, line % 2) for line in range(12)] + [(0, 1), (11, 0)])
def test_an_open_line_is_named(rig: Rig, line: int, level: int) -> None:
    held = verdict(rig, lambda offset: offset & ~(1 << line) | level << line)
    assert not held.ok
    assert f"address line {line}," in held.sentence


@pytest.mark.parametrize(
    ("line", "wired_or"), [(line, line % 2 == 0) for line in range(11)] + [(7, True), (8, False)]
)
def test_of_two_shorted_neighbours_one_is_named(rig: Rig, line: int, wired_or: bool) -> None:
    def wiring(offset: int) -> int:
        low, high = offset >> line & 1, offset >> line + 1 & 1
        both = low | high if wired_or else low & high
        return offset & ~(3 << line) | both << line | both << line + 1

    held = verdict(rig, wiring)
    assert not held.ok
    named = held.sentence.split("address line ")[1].split(",")[0]
    assert {int(word) for word in named.split(" and ")} <= {line, line + 1}


def test_a_data_fault_is_no_address_fault(rig: Rig) -> None:
    built = library.build(library.load("address"), HERON)
    rig.clear()
    rig.memory.on_read = lambda address, value: value & 0xFE if address >= 0x1000 else value
    held = library.judge(built, rig.run(built))
    assert held.sentence == "1001 did not take 01, it reads 00: data bit 0, or no RAM there"


def test_a_missing_bank_is_no_address_fault() -> None:
    bare = Rig(HERON)
    bare.memory.kinds[0x1000:0x2000] = ["none"] * 0x1000
    built = library.build(library.load("address"), HERON)
    held = library.judge(built, bare.run(built))
    assert not held.ok
    assert "no RAM there" in held.sentence
