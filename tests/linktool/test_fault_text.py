"""Every cause has its sentences, and no sentence claims more than the diagnosis."""

from __future__ import annotations

from typing import get_args

import pytest

from formats.image import Range
from linktool import machine as profiles
from linktool.causes import ALL_BITS, Cause, Kind
from linktool.diagnosis import Fault
from linktool.render.diagnosis import fault_lines
from linktool.render.fault_text import bits_text, cause_text, chip_text, next_text

BANK = Range(0x1000, 0x1FFF)
K7 = next(chip for chip in profiles.load("heron").chips if chip.position == "K7")


def cause(kind: str) -> Cause:
    lines = {"dead line": (5,), "joined lines": (3, 9)}.get(kind, ())
    bits = {"joined bits": (1, 6), "stuck": (3,)}.get(kind, ALL_BITS)
    value = 0 if kind in ("stuck", "joined bits", "joined lines") else None
    other = Range(0, 0x0FFF) if kind == "mirrored" else None
    return Cause(kind, (BANK,), bits, lines, value, (0x1010, 0x1011), other)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", get_args(Kind))
def test_every_cause_can_be_said_with_numbers_and_a_next_step(kind):
    lines = fault_lines(Fault(cause(kind), "likely", 4, 64), "check")
    assert lines[0].startswith("! Likely: ")
    assert any(line.startswith("  Numbers: ") for line in lines)
    assert any(line.startswith("  What else it may be: ") for line in lines)
    (step,) = [line for line in lines if line.startswith("  Next: ")]
    assert "{" not in step and len(step) > 40


def test_touching_chips_and_measuring_resistance_always_comes_with_power_off():
    for kind in get_args(Kind):
        step = next_text(Fault(cause(kind), "likely", 4, 64))
        if any(word in step for word in ("swap", "resistance", "continuity", "touching", "take the chips")):
            assert "power off" in step or "with power off" in step
    assert "power off" in next_text(Fault(cause("cells"), "likely", 1, 256), "rom")


def test_how_sure_a_chip_is_stands_with_its_place():
    def said(sure: str) -> str:
        return chip_text(Fault(cause("stuck"), "likely", 4, 64, chip=K7, chip_confidence=sure))  # type: ignore[arg-type]

    assert said("certain").startswith("chip K7 (4096 x 1 RAM)")
    assert said("likely").startswith("likely chip K7") and said("possible").startswith("possibly chip K7")
    assert said("cannot tell").startswith("perhaps chip K7")
    assert chip_text(Fault(cause("dead line"), "certain", 4, 64)) == (
        "the profile and the evidence point to no single chip"
    )
    assert chip_text(Fault(cause("noise"), "likely", 4, 64)) == ""
    near = Fault(cause("joined bits"), "certain", 4, 64, near=(K7,))
    assert chip_text(near) == "look between the places K7"


def test_noise_concerns_no_bit_and_can_be_said_all_the_same():
    lines = fault_lines(Fault(Cause("noise"), "likely", 3, 64), "pattern")
    assert lines[0] == "! Likely: noise: the link, the ground or the supply, not one chip."


def test_bits_and_lines_in_words():
    assert bits_text((3,)) == "data bit 3" and bits_text((1, 6)) == "data bits 1 and 6"
    assert bits_text((0, 1, 2)) == "data bits 0, 1 and 2" and bits_text(ALL_BITS) == "all data bits"
    assert cause_text(Cause("stuck", (), (3,), value=1)) == "data bit 3 of all RAM always reads 1"
    several = Cause("dead line", (BANK,), (5,), (3, 4, 7))
    assert cause_text(several).startswith(
        "one of the address lines A3, A4, A7 makes no difference in 1000-1FFF"
    )


def test_several_bits_take_the_plural():
    assert cause_text(Cause("unclear", (BANK,), (0, 6), addresses=(0x1010,))).startswith(
        "data bits 0 and 6 of 1000-1FFF differ without a pattern"
    )
    assert "data bit 1 of 1000-1FFF differs" in cause_text(Cause("unclear", (BANK,), (1,), addresses=(1,)))


def test_what_the_pattern_did_not_tell_apart_is_not_sent_to_the_pattern_again():
    unclear = Fault(cause("unclear"), "cannot tell", 4, 64)
    assert "linktool diagnose 1000-1FFF" in next_text(unclear, "check")
    again = next_text(unclear, "pattern")
    assert "linktool diagnose" not in again
    assert "`linktool survey --deep 1000-1FFF`" in again


def test_unsteady_bytes_are_counted_among_those_tested():
    unsteady = Fault(cause("unsteady"), "likely", 2, 70)
    assert (
        "  Numbers: 2 of 70 bytes changed from one reading to the next, with nothing written."
        in fault_lines(unsteady, "pattern")
    )
