"""The decimal program against what the makers of the parts state.

Sources: Western Design Center, W65C02S data sheet, table of differences from the NMOS 6502: the flags after
a decimal operation are invalid on NMOS parts and valid on the W65C02S, at the cost of one more cycle
(from memory). B. Clark, "Decimal Mode", 6502.org, appendix A: on NMOS parts Z after ADC is that of the
binary sum, and 99 + 01 gives 00 with carry on both (from memory). The NMOS behaviour is py65's as well,
which agrees with the published algorithm in all 131,072 sums.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from linktool import library, machine
from linktool.board.board import Board
from tests.programs.on_board import run

HERON = machine.load("heron")


@pytest.mark.parametrize("part", ["6502", "65C02"])
@pytest.mark.parametrize("profile", ["6502", "65C02"])
def test_each_part_is_told_and_held_against_the_profile(part: str, profile: str) -> None:
    built = library.build(library.load("decimal"), replace(HERON, processor=profile))
    text = run(Board(replace(HERON, processor=part)), built).text
    family = "NMOS" if part == "6502" else "CMOS"
    assert family in text
    verdict = library.judge(built, text)
    assert verdict.ok == (part == profile)
    assert f"{family} part" in verdict.sentence


def after(part: str, code: str) -> tuple[int, int, int]:
    """A, P and the cycles of the last instruction, after four on the board's processor."""
    board = Board(replace(HERON, processor=part))
    board.bus.cells[0x0300 : 0x0300 + len(bytes.fromhex(code))] = bytes.fromhex(code)
    processor = board.processor
    processor.core.pc = 0x0300
    for _ in range(4):
        began = processor.cycles
        processor.run(began + 1)
    return processor.core.a, processor.core.p, processor.cycles - began


def test_the_sum_that_tells_them_apart() -> None:
    """Both parts give 00 and a carry for 99 + 01; only Z differs (the binary sum is 9A). The CMOS part
    takes a cycle more."""
    for part, zero, cycles in (("6502", 0, 2), ("65C02", 2, 3)):
        a, flags, taken = after(part, "F8 18 A9 99 69 01")
        assert (a, flags & 1, flags & 2, taken) == (0x00, 1, zero, cycles)


def test_decimal_sums_and_differences_of_the_cmos_part() -> None:
    """Against plain arithmetic: A, carry, and N and Z of what is in A."""
    for left in (0, 1, 9, 10, 45, 50, 79, 80, 99):
        for right in (0, 1, 5, 9, 10, 49, 50, 55, 90, 99):
            for code, opcode, result in (
                ("18", "69", left + right), ("38", "69", left + right + 1),
                ("38", "E9", left - right), ("18", "E9", left - right - 1),
            ):  # fmt: skip
                carry = result > 99 if opcode == "69" else result >= 0
                wanted = int(f"{result % 100}", 16)
                a, flags, _ = after("65C02", f"F8 {code} A9 {left:02} {opcode} {right:02}")
                assert (a, flags & 1) == (wanted, carry), (left, opcode, right)
                assert (bool(flags & 2), flags & 0x80) == (wanted == 0, wanted & 0x80), (left, opcode, right)
