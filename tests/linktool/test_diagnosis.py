"""What is named, how sure, and what is not claimed. Single faults: tests/outside and tests/confusion."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.bank_case import BankCase
from linktool.causes import Cause
from linktool.diagnosis import confidence, diagnose
from linktool.evidence import Evidence, Sample, banks_of, from_check, from_images
from linktool.jobs.report import Finding
from tests.linktool.bit_memory import BitMemory, evidence

HERON = profiles.load("heron")
BANK = Range(0x1000, 0x1FFF)


def program(first: int, size: int, seed: int = 1) -> Image:
    return Image.from_bytes(first, Random(seed).randbytes(size))


def stuck_bit_3() -> BitMemory:
    memory = BitMemory()
    memory.bend = lambda address, value: value & ~0x08 if address in BANK else value
    return memory


def test_a_check_of_one_bank_names_the_chip_but_is_not_certain():
    (fault,) = diagnose(HERON, evidence(stuck_bit_3(), [program(0x1000, 256)], "check")).faults
    assert fault.cause == Cause("stuck", (BANK,), (3,), value=0)
    assert fault.chip is not None and fault.chip.position == "K7"
    assert fault.chip_confidence == "likely", "the line before all banks was not looked at"
    assert Cause("stuck", (), (3,), value=0) in fault.rivals


def test_other_banks_in_order_make_it_certain():
    image = program(0x1000, 64).overlay(program(0x2000, 64, 2)).overlay(program(0x0300, 64, 3))
    (fault,) = diagnose(HERON, evidence(stuck_bit_3(), [image], "check")).faults
    assert fault.chip_confidence == "certain"


@pytest.mark.parametrize("size", [1, 2, 3])
def test_a_few_bytes_are_never_certain(size):
    image = Image.from_bytes(0x1000, b"\xff" * size)
    (fault,) = diagnose(HERON, evidence(stuck_bit_3(), [image], "check")).faults
    assert fault.confidence in ("likely", "possible", "cannot tell")
    assert fault.chip_confidence != "certain"


def test_a_byte_wrong_in_many_bits_names_no_chip():
    findings = [Finding(0x1010, 0xFF, 0x12, "memory")]
    (fault,) = diagnose(HERON, from_check("check", program(0x1000, 16), findings)).faults
    assert fault.cause.kind == "cells" and fault.chip is None


def test_memory_that_holds_something_else_is_no_fault_of_eight_chips():
    for first, size in ((0x1000, 38), (0x1000, 64), (0x1230, 300)):
        wanted, held = dict(program(first, size).cells()), dict(program(first, size, 2).cells())
        findings = [Finding(a, wanted[a], held[a], "memory") for a in wanted if wanted[a] != held[a]]
        (fault,) = diagnose(HERON, from_check("check", Image(), findings)).faults
        assert fault.cause.kind == "other contents" and fault.chip is None
        assert fault.confidence in ("likely", "possible")


def test_after_a_test_of_our_own_many_wrong_bytes_without_a_pattern_are_not_explained():
    random = Random(7)
    samples = tuple(
        Sample(0x1000 + 37 * n, random.randrange(256), (random.randrange(256),)) for n in range(90)
    )
    for fault in diagnose(HERON, Evidence("pattern", (samples,))).faults:
        assert fault.cause.kind == "unclear" and fault.confidence == "cannot tell" and fault.chip is None


def test_a_rom_of_another_version_is_told_from_bad_bytes():
    right, other = program(0xFF00, 256), program(0xFF00, 256, 2)
    (fault,) = diagnose(HERON, from_images("rom", right, other)).faults
    assert fault.cause.kind == "other contents" and fault.chip is None
    bad = right.overlay(Image.from_cells([(0xFF10, 0x00), (0xFF80, 0xFF)]), "replace")
    (fault,) = diagnose(HERON, from_images("rom", right, bad)).faults
    assert fault.cause.kind == "cells" and fault.cause.addresses == (0xFF10, 0xFF80)
    assert fault.chip is not None and fault.chip.position == "J12"


def test_noise_alone_is_the_link_and_not_memory():
    diagnosis = diagnose(HERON, from_check("check", program(0x1000, 64), [], noise=3))
    assert diagnosis.sound
    assert [fault.cause.kind for fault in diagnosis.faults] == ["noise"]


def test_an_unsteady_byte_points_to_its_chip():
    findings = [Finding(0x1010, 0x20, 0x00, "unsteady")]
    (fault,) = diagnose(HERON, from_check("check", program(0x1000, 16), findings)).faults
    assert fault.cause == Cause("unsteady", (BANK,), (5,), addresses=(0x1010,))
    assert fault.chip is not None and fault.chip.position == "K5" and fault.chip_confidence == "likely"


def test_everything_unsteady_is_no_chip():
    samples = tuple(Sample(0x1000 + n, 0x55, (0x55, n & 0xFF)) for n in range(64))
    (fault,) = diagnose(HERON, Evidence("check", (samples,))).faults
    assert fault.cause.kind == "noise" and fault.chip is None and fault.confidence == "possible"


def test_the_same_bit_wrong_in_several_banks_is_one_line_and_no_chip():
    memory = BitMemory()
    memory.bend = lambda address, value: value | 0x04 if 0x1000 <= address < 0x4000 else value
    image = Image()
    for first in (0x0300, 0x1000, 0x2000, 0x3000):
        image = image.overlay(program(first, 64, first))
    (fault,) = diagnose(HERON, evidence(memory, [image], "check")).faults
    assert fault.cause.kind == "stuck" and len(fault.cause.where) == 3 and fault.chip is None


def test_bytes_outside_every_bank_are_counted_and_not_explained():
    samples = (Sample(0x8000, 0xFF, (0x00,)), Sample(0x8001, 0x00, (0x00,)))
    diagnosis = diagnose(HERON, Evidence("check", (samples,)))
    assert diagnosis.unplaced == 1 and diagnosis.faults == () and not diagnosis.sound


def test_no_evidence_is_no_fault():
    assert diagnose(HERON, Evidence("check", ())).sound
    assert diagnose(HERON, Evidence("check", ((),))).tested == ()


def test_margins_have_names():
    assert [confidence(m) for m in (0.0, 0.15, 1.0, 2.7, float("inf"))] == [
        "cannot tell",
        "possible",
        "likely",
        "certain",
        "certain",
    ]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 0xFFFF), st.integers(0, 255), st.lists(st.integers(0, 255), min_size=1, max_size=3)
        ),
        max_size=40,
    )
)
def test_any_evidence_is_survived_and_explains_every_wrong_bit(triples):
    samples = tuple(Sample(a, e, tuple(r)) for a, e, r in {t[0]: t for t in triples}.values())
    found = Evidence("pattern", (samples,))
    diagnosis = diagnose(HERON, found)
    for bank in banks_of(HERON):
        case = BankCase(bank, found)
        assert case.cover(case.wrong).cost < float("inf")
        if case.wrong or case.shaky:
            assert any(bank.range in f.cause.where or not f.cause.where for f in diagnosis.faults)


def found_in(bank: Range, found: int | None) -> Evidence:
    """A bank that reads one byte throughout, or for None the high half of each address."""
    each = [
        Sample(address, (address * 7 & 0xFF), (address >> 8 if found is None else found,))
        for address in range(bank.first + 5, bank.last, 0x111)
    ]
    return Evidence("pattern", (tuple(each),))


def test_one_byte_throughout_may_be_memory_that_forgot_and_is_not_certainly_missing():
    (fault,) = diagnose(HERON, found_in(BANK, 0x00)).faults
    assert (fault.cause.kind, fault.confidence) == ("missing", "likely")
    (fault,) = diagnose(HERON, found_in(BANK, None)).faults
    assert (fault.cause.kind, fault.confidence) == ("missing", "certain")


def test_a_cause_is_never_its_own_rival():
    """An address line that makes no difference in any bank is found bank by bank and over all of them."""
    machine = profiles.load("heron")
    banks = [bank.range for bank in banks_of(machine) if bank.kind == "ram"]
    memory = BitMemory()
    memory.decode = lambda address, bit: address & ~(1 << 9)
    image = Image.from_cells(
        (address, value)
        for number, bank in enumerate(banks)
        for address, value in program(bank.first + 0x500, 0x300, number).cells()
    )
    (fault,) = diagnose(machine, evidence(memory, [image], "check")).faults
    assert fault.cause == Cause("dead line", (), tuple(range(8)), (9,))
    assert fault.cause not in fault.rivals
    assert len(set(fault.rivals)) == len(fault.rivals)


def test_a_bank_that_reads_as_an_empty_bus_is_not_three_bad_chips():
    """All bytes were to be the same, so nothing shows that they do not depend on what was written."""
    for seen in (0x30, 0xFF):
        findings = [Finding(at, 0x01, seen, "memory") for at in range(0x3000, 0x3020)]
        image = Image.from_bytes(0x3000, b"\x01" * 32).overlay(program(0x2000, 64))
        (fault,) = diagnose(HERON, from_check("check", image, findings)).faults
        assert (fault.cause.kind, fault.confidence, fault.chip) == ("missing", "likely", None)


def test_one_bit_that_reads_as_an_empty_bus_might_is_not_certainly_a_chip_s():
    findings = [Finding(at, 0x7F, 0xFF, "memory") for at in range(0x3000, 0x3020)]
    image = Image.from_bytes(0x3000, b"\x7f" * 32).overlay(program(0x2000, 64))
    (fault,) = diagnose(HERON, from_check("check", image, findings)).faults
    kinds = {fault.cause.kind, *(rival.kind for rival in fault.rivals)}
    assert {"missing", "stuck"} <= kinds and fault.confidence == fault.chip_confidence == "cannot tell"


def test_three_joined_data_lines_are_not_three_bad_chips_for_certain():
    """No cause known here joins three lines; each reads 0 unless all should be 1."""
    memory = BitMemory()
    memory.bend = lambda address, value: value if value & 0x49 == 0x49 else value & ~0x49
    images = [program(0x1000, 4, 5).overlay(program(0x2000, 64, 2)).overlay(program(0x0300, 64, 3))]
    assert not any(value & 0x49 == 0x49 for _, value in images[0].slice(BANK).cells())
    for fault in diagnose(HERON, evidence(memory, images, "pattern")).faults:
        assert fault.chip_confidence != "certain"
