"""The retention program finds a cell that forgets, to whichever level, and waits as long as it says."""

from __future__ import annotations

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

HERON = machine.load("heron")
CELL = 0x1080


def run(forgets_after: int, falls_to: int, **parameters: int) -> tuple[library.Verdict, Rig]:
    """The verdict where bit 3 of CELL falls to a level so many cycles after it was written."""
    built = library.build(
        library.load("retention"), HERON, parameters={"first": 0x1000, "last": 0x10FF, **parameters}
    )
    rig = Rig(HERON)
    written = 0

    def write(address: int, value: int, memory: bytearray) -> None:
        nonlocal written
        memory[address] = value
        if address == CELL:
            written = rig.cpu.processorCycles

    def read(address: int, value: int) -> int:
        if address == CELL and rig.cpu.processorCycles - written > forgets_after:
            return value & ~0x08 | falls_to << 3
        return value

    rig.memory.on_write, rig.memory.on_read = write, read
    return library.judge(built, rig.run(built)), rig


@pytest.mark.parametrize(("falls_to", "line"), [(0, "AA became A2"), (1, "55 became 5D")])
def test_a_cell_that_forgets_is_found(falls_to: int, line: str) -> None:
    verdict, _ = run(300_000, falls_to, wait=1)
    assert not verdict.ok
    assert verdict.sentence == f"1080 forgot: {line}, data bit 3; further lines: 0"


def test_it_waits_for_each_unit_what_it_says() -> None:
    waits = {}
    for wait in (1, 3):
        built = library.build(
            library.load("retention"), HERON, parameters={"first": CELL, "last": CELL, "wait": wait}
        )
        rig = Rig(HERON)
        rig.run(built)
        waits[wait] = rig.cpu.processorCycles
    assert waits[3] - waits[1] == 2 * 2 * 328_711  # twice: for the pattern and for its complement


def test_a_stuck_chip_does_not_fill_the_screen_for_ever() -> None:
    built = library.build(library.load("retention"), HERON, parameters={"wait": 1})
    rig = Rig(HERON)
    rig.memory.on_read = lambda address, value: value | 0x80 if address >= 0x1000 else value
    verdict = library.judge(built, rig.run(built))
    assert rig.ended
    assert len(verdict.findings) == built.values["limit"]
