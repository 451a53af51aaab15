"""The decimal program tells parts apart and judges them against the profile."""

from __future__ import annotations

from dataclasses import replace

import pytest

from linktool import library, machine
from tests.programs.rig import Processor, Rig

HERON = machine.load("heron")


class WithoutDecimal(Processor):
    """A part whose decimal mode does nothing."""

    def opADC(self, x: object) -> None:
        decimal = self.p & self.DECIMAL
        self.p &= ~self.DECIMAL
        super().opADC(x)
        self.p |= decimal

    instruct = [*Processor.instruct]  # noqa: RUF012

    def add_immediate(self) -> None:
        self.opADC(self.ProgramCounter)
        self.pc += 1

    instruct[0x69] = add_immediate


@pytest.mark.parametrize(("profile", "ok"), [("6502", True), ("65C02", False)])
def test_an_nmos_part(profile: str, ok: bool) -> None:
    target = replace(HERON, processor=profile)
    built = library.build(library.load("decimal"), target)
    verdict = library.judge(built, Rig(target).run(built))
    assert verdict.ok == ok
    assert "NMOS part" in verdict.sentence


def test_a_part_without_the_mode() -> None:
    built = library.build(library.load("decimal"), HERON)
    verdict = library.judge(built, Rig(HERON, WithoutDecimal).run(built))
    assert not verdict.ok
    assert "no decimal mode" in verdict.sentence
