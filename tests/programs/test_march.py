"""The march test finds what the published theory promises of March C- with four backgrounds.

Sources: A. J. van de Goor, "Using march tests to test SRAMs", IEEE D&T 10(1), 1993, 8-14 (March C- finds
all stuck-at, transition, address and single coupling faults); van de Goor and Tlili, "March tests for
word-oriented memories", DATE 1998 (log2 8 + 1 = 4 backgrounds for the pairs of bits within a byte).
Fault models as those papers define them; a coupling acts after the byte is written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

HERON = machine.load("heron")
AT = 0x1000
Write = Callable[[int, int, bytearray], None]
Read = Callable[[int, int], int]


@pytest.fixture(scope="module")
def rig() -> Rig:
    return Rig(HERON)


def march(length: int, limit: int = 1) -> library.Built:
    values = {"first": AT, "last": AT + length - 1, "limit": limit}
    return library.build(library.load("march"), HERON, parameters=values)


ONE, TWO, FOUR = march(1), march(2), march(4)


def found(
    rig: Rig, built: library.Built, write: Write | None, read: Read | None = None, start: int = 0
) -> bool:
    """Whether the program says that there is a fault; whatever it says, it must say it properly."""
    rig.clear()
    rig.memory.bytes[AT : AT + 4] = bytes([start]) * 4
    rig.memory.on_write, rig.memory.on_read = write, read
    verdict = library.judge(built, rig.run(built))
    assert rig.ended
    assert verdict.known
    return not verdict.ok


def within(write: Write) -> Write:
    """`write` for the cells under test, a plain write elsewhere."""

    def guarded(address: int, value: int, memory: bytearray) -> None:
        if AT <= address < AT + 4:
            write(address, value, memory)
        else:
            memory[address] = value

    return guarded


def stuck(cell: int, bit: int, level: int) -> Write:
    def write(address: int, value: int, memory: bytearray) -> None:
        memory[address] = value
        if address == AT + cell:
            memory[address] = value & ~(1 << bit) | level << bit

    return within(write)


def cannot_move(cell: int, bit: int, to: int) -> Write:
    """Transition fault: the bit keeps its old level where it should move to `to`."""

    def write(address: int, value: int, memory: bytearray) -> None:
        old = memory[address]
        memory[address] = value
        if address == AT + cell and (old >> bit & 1) != to and (value >> bit & 1) == to:
            memory[address] = value ^ 1 << bit

    return within(write)


def coupled(kind: str, aggressor: tuple[int, int], victim: tuple[int, int], on: int, to: int) -> Write:
    """kind "in": the aggressor's edge to `on` inverts the victim; "id": it forces it to `to`;
    "st": the aggressor's level `on` forces it to `to`. Both are (cell, bit)."""

    def write(address: int, value: int, memory: bytearray) -> None:
        at, bit = AT + aggressor[0], aggressor[1]
        before = memory[at] >> bit & 1
        memory[address] = value
        after = memory[at] >> bit & 1
        edge = after == on and before != on
        if not (edge if kind != "st" else after == on):
            return
        mask = 1 << victim[1]
        if kind == "in":
            memory[AT + victim[0]] ^= mask
        else:
            memory[AT + victim[0]] = memory[AT + victim[0]] & ~mask | to * mask

    return within(write)


def couplings(aggressor: tuple[int, int], victim: tuple[int, int]) -> Iterator[Write]:
    """The ten single coupling faults of an ordered pair of bits: 2 CFin, 4 CFid, 4 CFst."""
    for on in (0, 1):
        yield coupled("in", aggressor, victim, on, 0)
        for to in (0, 1):
            yield coupled("id", aggressor, victim, on, to)
            yield coupled("st", aggressor, victim, on, to)


def test_no_fault_is_found_where_there_is_none(rig: Rig) -> None:
    assert not any(
        found(rig, built, None, start=start) for built in (ONE, TWO, FOUR) for start in (0x00, 0xFF)
    )


@pytest.mark.parametrize("start", [0x00, 0xFF])
def test_stuck_bits_and_bits_that_cannot_move(rig: Rig, start: int) -> None:
    faults = [
        make(cell, bit, level)
        for make in (stuck, cannot_move)
        for cell in range(4)
        for bit in range(8)
        for level in (0, 1)
    ]
    assert len(faults) == 128
    assert all(found(rig, FOUR, fault, start=start) for fault in faults)


def test_coupling_within_a_byte(rig: Rig) -> None:
    faults = [fault for a in range(8) for v in range(8) if a != v for fault in couplings((0, a), (0, v))]
    assert len(faults) == 112 + 224 + 224  # CFin, CFid, CFst of 56 ordered pairs of bits
    assert all(found(rig, ONE, fault) for fault in faults)


def test_coupling_between_bytes(rig: Rig) -> None:
    faults = [
        fault
        for a, v in ((0, 1), (1, 0))
        for bit in range(8)
        for other in range(8)
        for fault in couplings((a, bit), (v, other))
    ]
    assert len(faults) == 2 * 64 * 10
    assert all(found(rig, TWO, fault) for fault in faults)


def address_fault(address: int, cells: tuple[int, ...], wired: str, floating: int) -> tuple[Write, Read]:
    """`address` reaches `cells` (none, another, or two), read as AND or OR; none reads `floating`."""
    stored = bytearray(4)

    def reached(at: int) -> tuple[int, ...]:
        return cells if at - AT == address else (at - AT,)

    def write(at: int, value: int, memory: bytearray) -> None:
        for cell in reached(at):
            stored[cell] = value
        memory[at] = value

    def read(at: int, value: int) -> int:
        if not AT <= at < AT + 4:
            return value
        levels = [stored[cell] for cell in reached(at)]
        if not levels:
            return floating
        return levels[0] & levels[-1] if wired == "and" else levels[0] | levels[-1]

    return within(write), read


def test_address_faults(rig: Rig) -> None:
    faults = [address_fault(a, (), "and", level) for a in range(4) for level in (0x00, 0xFF)]
    faults += [address_fault(a, (c,), "and", 0) for a in range(4) for c in range(4) if c != a]
    faults += [
        address_fault(a, (a, c), wired, 0)
        for a in range(4)
        for c in range(4)
        if c != a
        for wired in ("and", "or")
    ]
    assert len(faults) == 8 + 12 + 24
    assert all(found(rig, FOUR, write, read) for write, read in faults)


def test_a_report_names_address_expected_and_found(rig: Rig) -> None:
    built = march(4, limit=8)
    found(rig, built, stuck(2, 5, 0))
    verdict = library.judge(built, rig.text)
    assert all(
        line["address"] == AT + 2 and line["expected"] ^ line["found"] == 0x20 for line in verdict.findings
    )
    assert len(verdict.findings) == 8
    assert verdict.sentence == "1002 should hold FF and read DF: data bit 5; further lines: 7"


def test_it_stops_after_the_lines_it_was_allowed(rig: Rig) -> None:
    built = march(4, limit=3)
    found(rig, built, stuck(0, 0, 1))
    assert len(rig.text.strip("\n").split("\n")) == 3
    assert rig.ended


@pytest.mark.parametrize("last", [0x1000, 0x10FF, 0x1100, 0x11FE])
def test_ranges_across_pages_are_tested_to_the_last_byte(rig: Rig, last: int) -> None:
    built = library.build(library.load("march"), HERON, parameters={"first": 0x1000, "last": last})
    rig.clear()
    rig.memory.watch = set(range(0x1000, 0x2000))
    assert library.judge(built, rig.run(built)).ok
    assert rig.memory.writes == rig.memory.reads == 20 * (last - 0x1000 + 1)
    rig.memory.watch = set()
