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
from py65.devices.mpu65c02 import MPU as CMOS

from linktool import library, machine
from tests.programs.rig import Processor, Rig

HERON = machine.load("heron")


class AsStated(CMOS):
    """A CMOS part whose N and Z after a decimal sum are as stated; py65 1.2.0 leaves them as on NMOS."""

    def opADC(self, x: object) -> None:
        super().opADC(x)
        if self.p & self.DECIMAL:
            self.FlagsNZ(self.a)

    instruct = [*CMOS.instruct]  # noqa: RUF012

    def add_immediate(self) -> None:
        self.opADC(self.ProgramCounter)
        self.pc += 1

    instruct[0x69] = add_immediate


@pytest.mark.parametrize(
    ("part", "profile", "prints"), [(Processor, "6502", "NMOS"), (AsStated, "65C02", "CMOS")]
)
def test_each_part_is_told(part: type[Processor], profile: str, prints: str) -> None:
    target = replace(HERON, processor=profile)
    built = library.build(library.load("decimal"), target)
    text = Rig(target, part).run(built)
    assert text.strip("\n") == prints
    verdict = library.judge(built, text)
    assert verdict.ok
    assert f"{prints} part" in verdict.sentence


def test_the_sum_that_tells_them_apart() -> None:
    """Both parts give 00 and a carry for 99 + 01; only Z differs (the binary sum is 9A)."""
    for part, zero in ((Processor, False), (AsStated, True)):
        cpu = part(memory=[0xF8, 0x18, 0xA9, 0x99, 0x69, 0x01] + [0] * 0xFFFA)
        for _ in range(4):
            cpu.step()
        assert cpu.a == 0x00
        assert cpu.p & cpu.CARRY
        assert bool(cpu.p & cpu.ZERO) is zero
