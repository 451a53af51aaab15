"""Fault classes by their published definitions, and what the diagnosis names for them.

Definitions: A. J. van de Goor, "Using march tests to test SRAMs", IEEE Design & Test of Computers 10(1),
1993, 8-14, doi 10.1109/54.199799 (stuck-at, and the address decoder faults: with an address no cell is
reached; a cell is reached by several addresses). Bridged lines as wired AND and wired OR: common practice.
The memory here is a model of its own, bit by bit (bit_memory.py).
"""

from __future__ import annotations

from itertools import combinations

import pytest

from formats.image import Range
from linktool import machine as profiles
from linktool.causes import ALL_BITS, Cause
from linktool.diagnosis import Diagnosis, diagnose
from linktool.evidence import banks_of
from linktool.pattern import pattern_for
from tests.linktool.bit_memory import BitMemory, evidence

HERON = profiles.load("heron")
BANK = Range(0x1000, 0x1FFF)
RAM = [bank for bank in banks_of(HERON) if bank.kind == "ram"]


def named(memory: BitMemory) -> Diagnosis:
    patterns = [pattern for bank in RAM if (pattern := pattern_for(HERON, bank))]
    images = [
        pattern_image
        for pick in ("first", "second")
        for pattern_image in [_joined([getattr(pattern, pick) for pattern in patterns])]
    ]
    return diagnose(HERON, evidence(memory, images))


def _joined(images):
    whole = images[0]
    for image in images[1:]:
        whole = whole.overlay(image)
    return whole


def one_cause(memory: BitMemory) -> Cause:
    diagnosis = named(memory)
    assert len(diagnosis.faults) == 1, diagnosis.faults
    return diagnosis.faults[0].cause


def test_a_memory_in_order_has_no_fault():
    diagnosis = named(BitMemory())
    assert diagnosis.sound and not diagnosis.faults
    assert all(each.both == 0xFF for each in diagnosis.tested)


@pytest.mark.parametrize("value", [0, 1])
@pytest.mark.parametrize("bit", range(8))
def test_stuck_at_fault_of_a_chip(bit, value):
    memory = BitMemory()

    def held(address, byte):
        if address not in BANK:
            return byte
        return byte | 1 << bit if value else byte & ~(1 << bit)

    memory.bend = held
    diagnosis = named(memory)
    (fault,) = diagnosis.faults
    assert fault.cause == Cause("stuck", (BANK,), (bit,), value=value)
    assert fault.confidence == fault.chip_confidence == "certain"
    assert fault.chip is not None and fault.chip.position == f"K{10 - bit}"


@pytest.mark.parametrize("wired", [0, 1])
@pytest.mark.parametrize("pair", list(combinations(range(8), 2)))
def test_bridged_data_lines(pair, wired):
    first, second = pair
    both = 1 << first | 1 << second
    memory = BitMemory()

    def bridged(address, byte):
        if address not in BANK:
            return byte
        up = byte & both
        one = up != 0 if wired else up == both
        return byte | both if one else byte & ~both

    memory.bend = bridged
    assert one_cause(memory) == Cause("joined bits", (BANK,), pair, value=wired)


@pytest.mark.parametrize("line", range(12))
def test_decoder_fault_a_cell_is_reached_by_two_addresses(line):
    memory = BitMemory()
    memory.decode = lambda address, bit: address & ~(1 << line) if address in BANK else address
    assert one_cause(memory) == Cause("dead line", (BANK,), ALL_BITS, (line,))


@pytest.mark.parametrize("line", range(12))
def test_decoder_fault_of_one_chip_only(line):
    memory = BitMemory()
    memory.decode = lambda address, bit: address | 1 << line if address in BANK and bit == 5 else address
    diagnosis = named(memory)
    (fault,) = diagnosis.faults
    assert (fault.cause.kind, fault.cause.where, fault.cause.bits) == ("dead line", (BANK,), (5,))
    assert line in fault.cause.lines
    assert fault.chip is not None and fault.chip.position == "K5"
    assert fault.confidence != "cannot tell" and fault.chip_confidence in ("likely", "certain")


@pytest.mark.parametrize("wired", [0, 1])
@pytest.mark.parametrize("pair", list(combinations(range(12), 2)))
def test_bridged_address_lines(pair, wired):
    first, second = pair
    both = 1 << first | 1 << second
    memory = BitMemory()

    def decode(address, bit):
        if address not in BANK:
            return address
        up = address & both
        one = up != 0 if wired else up == both
        return address | both if one else address & ~both

    memory.decode = decode
    assert one_cause(memory) == Cause("joined lines", (BANK,), ALL_BITS, pair, wired)


def test_decoder_fault_addresses_reach_no_cell():
    memory = BitMemory()
    memory.decode = lambda address, bit: None if address in BANK else address
    assert one_cause(memory) == Cause("missing", (BANK,), ALL_BITS)


def test_one_chip_reaches_no_cell():
    memory = BitMemory()
    memory.decode = lambda address, bit: None if address in BANK and bit == 1 else address
    diagnosis = named(memory)
    (fault,) = diagnosis.faults
    assert fault.cause.kind == "silent" and fault.cause.bits == (1,)
    assert fault.chip is not None and fault.chip.position == "K9"


def test_a_bank_that_is_reached_at_two_places():
    memory = BitMemory()
    memory.decode = lambda address, bit: address - 0x1000 if address in BANK else address
    cause = one_cause(memory)
    assert cause == Cause("mirrored", (BANK,), ALL_BITS, other=Range(0x0000, 0x0FFF))


def test_a_dead_line_that_chooses_the_bank():
    memory = BitMemory()
    memory.decode = lambda address, bit: address & ~0x1000 if address < 0x4000 else address
    assert one_cause(memory) == Cause("dead line", (), ALL_BITS, (12,))


def test_two_faults_at_once_are_both_named():
    memory = BitMemory()

    def held(address, byte):
        if address in BANK:
            return byte & ~0x08
        return byte | 0x40 if address in Range(0x3000, 0x3FFF) else byte

    memory.bend = held
    found = {(f.cause.kind, f.cause.where, f.cause.bits, f.cause.value) for f in named(memory).faults}
    assert found == {
        ("stuck", (BANK,), (3,), 0),
        ("stuck", (Range(0x3000, 0x3FFF),), (6,), 1),
    }
