"""The processor check prints the letter of the group that is broken: processors with one fault each."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from linktool import library, machine
from tests.programs.rig import Processor, Rig

HERON = machine.load("heron")
BUILT = library.build(library.load("smoke"), HERON)


def broken(opcode: int, instead: Callable[[Processor], None]) -> type[Processor]:
    """A processor that does `instead` after fetching `opcode` (its operand still lies ahead)."""

    class Broken(Processor):
        instruct = [instead if at == opcode else each for at, each in enumerate(Processor.instruct)]  # noqa: RUF012

    return Broken


def never(self: Processor) -> None:
    self.pc += 1


def always(self: Processor) -> None:
    self.BranchRelAddr()


def letter(processor: type[Processor]) -> str:
    rig = Rig(HERON, processor)
    return rig.run(BUILT, steps=50_000).strip("\n")


# The eighth, bmi, is missing: the monitor needs it to print at all.
BRANCHES = {"bpl": 0x10, "bvc": 0x50, "bvs": 0x70, "bcc": 0x90, "bcs": 0xB0, "bne": 0xD0, "beq": 0xF0}


@pytest.mark.parametrize("name", BRANCHES)
@pytest.mark.parametrize("fault", [never, always])
def test_a_branch_that_never_or_always_goes(name: str, fault: Callable[[Processor], None]) -> None:
    assert letter(broken(BRANCHES[name], fault)) == "B"


def flags_lost(mask: int) -> Callable[[Processor], None]:
    def adc(self: Processor) -> None:
        self.opADC(self.ProgramCounter)
        self.p &= ~mask
        self.pc += 1

    return adc


@pytest.mark.parametrize("mask", [Processor.OVERFLOW, Processor.CARRY, Processor.ZERO, Processor.NEGATIVE])
def test_a_flag_that_adding_does_not_set(mask: int) -> None:
    assert letter(broken(0x69, flags_lost(mask))) == "F"


def test_a_compare_that_never_finds_equal() -> None:
    def cmp(self: Processor) -> None:
        self.p = self.p & ~self.ZERO | self.CARRY
        self.pc += 1

    assert letter(broken(0xC9, cmp)) == "F"


def test_pull_that_moves_the_pointer_only() -> None:
    def pla(self: Processor) -> None:
        self.stPop()
        self.FlagsNZ(self.a)

    assert letter(broken(0x68, pla)) == "S"


def test_flags_that_do_not_come_back() -> None:
    def plp(self: Processor) -> None:
        self.stPop()

    assert letter(broken(0x28, plp)) == "S"


def test_a_stack_pointer_that_does_not_come_back() -> None:
    def pla(self: Processor) -> None:
        self.a = self.ByteAt(0x0100 + (self.sp + 1 & 0xFF))
        self.FlagsNZ(self.a)

    assert letter(broken(0x68, pla)) == "S"


def test_a_subroutine_that_is_passed_over() -> None:
    def dex(self: Processor) -> None:
        self.x = self.x - 2 & 0xFF  # the subroutine counts twice: now it counts to the wrong number
        self.FlagsNZ(self.x)

    assert letter(broken(0xCA, dex)) == "R"


def test_an_index_that_is_ignored() -> None:
    def lda_absolute_x(self: Processor) -> None:
        self.opLDA(self.AbsoluteAddr)
        self.pc += 2

    assert letter(broken(0xBD, lda_absolute_x)) == "X"

    def sta_zero_page_x(self: Processor) -> None:
        self.opSTA(self.ZeroPageAddr)
        self.pc += 1

    assert letter(broken(0x95, sta_zero_page_x)) == "X"


def test_an_indirection_that_is_ignored() -> None:
    def lda_indirect_y(self: Processor) -> None:
        self.opLDA(self.ZeroPageAddr)
        self.pc += 1

    assert letter(broken(0xB1, lda_indirect_y)) == "I"

    def lda_indirect_x(self: Processor) -> None:
        self.opLDA(self.ZeroPageXAddr)
        self.pc += 1

    assert letter(broken(0xA1, lda_indirect_x)) == "I"


def test_each_letter_has_its_sentence() -> None:
    for group in "BFSRXI":
        verdict = library.judge(BUILT, f"\r{group}\r=")
        assert (verdict.ok, verdict.known) == (False, True)
