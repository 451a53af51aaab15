"""The march program against published figures: its operations in order and number, and which fault it
meets at which of them.

Sources: operation counts and elements of March C-, A. J. van de Goor, "Using march tests to test SRAMs",
IEEE D&T 10(1), 1993, 8-14, doi 10.1109/54.199799 (10n; the six elements below). Which faults within a
byte each set of backgrounds finds, and where a fault is met first: computed from the definitions in that
paper by exhaustive simulation of the march itself, apart from this program (56 ordered pairs of bits).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from formats.image import Image
from linktool import library, machine
from tests.programs.rig import Rig
from tests.programs.test_march import AT, TWO, Write, cannot_move, coupled, couplings, found, march, stuck

HERON = machine.load("heron")
BACKGROUNDS = (0x00, 0x55, 0x33, 0x0F)


def operations(length: int) -> list[tuple[str, int, int]]:
    """What March C- does to bytes 0..length-1: (read or write, byte, value), for the four backgrounds."""
    result = []
    for zero in BACKGROUNDS:
        one = zero ^ 0xFF
        up, down = list(range(length)), list(reversed(range(length)))
        result += [("w", at, zero) for at in up]
        for order, value in ((up, zero), (up, one), (down, zero), (down, one)):
            for at in order:
                result += [("r", at, value), ("w", at, value ^ 0xFF)]
        result += [("r", at, zero) for at in up]
    return result


def observed(rig: Rig, built: library.Built, write: Write | None = None) -> list[tuple[str, int, int]]:
    """The operations the program does on the bytes under test, until it prints."""
    seen: list[tuple[str, int, int]] = []

    def note_write(address: int, value: int, memory: bytearray) -> None:
        (write or _plain)(address, value, memory)
        if address >= AT and not rig.text.strip("\n"):
            seen.append(("w", address - AT, value))

    def note_read(address: int, value: int) -> int:
        if address >= AT and not rig.text.strip("\n"):
            seen.append(("r", address - AT, value))
        return value

    rig.clear()
    rig.memory.bytes[AT : AT + 8] = bytes(8)
    rig.memory.on_write, rig.memory.on_read = note_write, note_read
    rig.run(built)
    return seen


def _plain(address: int, value: int, memory: bytearray) -> None:
    memory[address] = value


@pytest.mark.parametrize("length", [1, 2, 5])
def test_every_operation_is_march_c_minus(length: int) -> None:
    assert observed(Rig(HERON), march(length)) == operations(length)


@pytest.mark.parametrize("length", [1, 3, 0x100, 0x400])
def test_ten_operations_a_byte_and_background(length: int) -> None:
    """1 KiB: 10,240 operations a background, 40,960 for the four (10 n and 4 x 10 n)."""
    rig = Rig(HERON)
    rig.memory.watch = set(range(AT, AT + length))
    rig.run(march(length))
    assert rig.memory.reads + rig.memory.writes == 4 * 10 * length


FIRST_MET = [
    # fault on bit 0 of bytes 0..3, all 00 at the start, and the first operation that shows it: element, byte
    (stuck(1, 0, 0), 2, 1),
    (cannot_move(1, 0, 1), 2, 1),
    (stuck(1, 0, 1), 1, 1),
    (cannot_move(1, 0, 0), 3, 1),
    (coupled("in", (2, 0), (1, 0), 1, 0), 2, 1),
    (coupled("id", (1, 0), (2, 0), 1, 0), 4, 2),
    (coupled("id", (2, 0), (1, 0), 0, 1), 3, 1),
    (coupled("st", (1, 0), (2, 0), 1, 0), 2, 2),
]


@pytest.mark.parametrize(("fault", "element", "byte"), FIRST_MET)
def test_a_fault_is_met_first_where_the_theory_has_it(fault: Write, element: int, byte: int) -> None:
    seen = observed(Rig(HERON), march(4), fault)
    starts = [0, 4, 12, 20, 28, 36]  # operations before each element, n = 4
    met = len(seen) - 1
    assert seen[met][0] == "r"
    assert max(number for number, start in enumerate(starts) if start <= met) == element
    assert seen[met][1] == byte


@pytest.mark.parametrize(
    ("grounds", "inverting", "forcing"),
    [((0x00,), 112, 112), ((0x00, 0x55), 112, 176), ((0x00, 0x55, 0x33, 0x0F), 112, 224)],
)
def test_what_each_set_of_backgrounds_finds_within_a_byte(
    grounds: tuple[int, ...], inverting: int, forcing: int
) -> None:
    """CFin is complete with one background; CFid and CFst need all four (112, 176, 224 of 224)."""
    built = march(1)
    table = built.labels["grounds"]
    poorer = Image.from_bytes(table, bytes(grounds + grounds[:1] * (4 - len(grounds))))
    built = replace(built, image=built.image.overlay(poorer, "replace"))
    rig = Rig(HERON)
    pairs = [((0, a), (0, v)) for a in range(8) for v in range(8) if a != v]
    counts = {
        kind: sum(
            found(rig, built, coupled(kind, a, v, on, to))
            for a, v in pairs
            for on in (0, 1)
            for to in ((0, 1) if kind != "in" else (0,))
        )
        for kind in ("in", "id", "st")
    }
    assert counts == {"in": inverting, "id": forcing, "st": forcing}


def test_between_bytes_one_background_would_do() -> None:
    table = TWO.labels["grounds"]
    image = TWO.image.overlay(Image.from_bytes(table, bytes(4)), "replace")
    rig = Rig(HERON)
    for a, v in ((0, 1), (1, 0)):
        for bit in (0, 3, 7):
            assert all(
                found(rig, replace(TWO, image=image), fault)
                for other in range(8)
                for fault in couplings((a, bit), (v, other))
            )
