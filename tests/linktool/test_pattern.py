"""The quick pattern: what it promises of its addresses and values, on every bank of every shipped machine."""

from __future__ import annotations

from itertools import combinations, product

import pytest

from formats.image import Range
from linktool import machine as profiles
from linktool.evidence import Bank, banks_of
from linktool.pattern import CLOSELY, pattern_for

MACHINES = [profiles.load(name) for name in ("heron", "dot")]
BANKS = [(m, bank) for m in MACHINES for bank in banks_of(m) if bank.kind == "ram"]


@pytest.mark.parametrize(("machine", "bank"), BANKS, ids=lambda each: getattr(each, "name", ""))
def test_the_promises(machine, bank):
    pattern = pattern_for(machine, bank)
    assert pattern is not None
    cells = dict(pattern.first.cells())
    assert len(cells) <= 40
    assert all(address in bank.range for address in cells)
    assert not machine.hindrances(pattern.first), "nothing reserved is written"
    assert len(set(cells.values())) == len(cells)
    for first, second in combinations(range(8), 2):
        levels = {(value >> first & 1, value >> second & 1) for value in cells.values()}
        assert levels == set(product((0, 1), repeat=2))
    for line in range(bank.lines):
        pairs = [(a, a ^ 1 << line) for a in cells if a ^ 1 << line in cells]
        differing = 0
        for one, other in pairs:
            differing |= cells[one] ^ cells[other]
        assert differing == 0xFF, f"line {line} shows in every bit"
    quarters = {address >> bank.lines - 2 for address in cells}
    assert len(quarters) == 4
    assert dict(pattern.second.cells()) == {address: value ^ 0xFF for address, value in cells.items()}
    held = {address for where in pattern.reads for address in range(where.first, where.last + 1)}
    assert held == set(cells) and all(len(where) <= 8 for where in pattern.reads)


@pytest.mark.parametrize(("machine", "bank"), BANKS, ids=lambda each: getattr(each, "name", ""))
def test_one_wrong_line_leads_to_the_monitors_own_memory_at_one_address_only(machine, bank):
    """The fourth quarter of a bank has no address that is clear of it; that one meets the stack's middle."""
    pattern = pattern_for(machine, bank)
    assert pattern is not None
    reserved = {a for area in machine.reserved for a in range(area.range.first, area.range.last + 1)}
    met = {
        (address - bank.range.first) ^ 1 << line
        for address, _ in pattern.first.cells()
        for line in range(bank.lines)
    } & reserved
    assert met <= {0x01AA}


def test_banks_at_the_same_offsets_differ_everywhere():
    heron = MACHINES[0]
    images = [pattern_for(heron, bank).first for bank in banks_of(heron) if bank.kind == "ram"]
    for one, other in combinations(images, 2):
        shift = other.segments[0].first - one.segments[0].first
        for address, value in one.cells():
            assert other.get(address + shift) not in (None, value)


def test_a_few_bytes_asked_for_are_looked_at_closely_and_many_are_not():
    machine, bank = BANKS[1]
    few = pattern_for(machine, bank, Range(0x1234, 0x1237))
    assert few is not None and {0x1234, 0x1235, 0x1236, 0x1237} <= {a for a, _ in few.first.cells()}
    assert few.closely == (Range(0x1234, 0x1237),)
    many = pattern_for(machine, bank, Range(0x1000, 0x1000 + CLOSELY))
    assert many is not None and many.closely == ()


def test_small_banks_and_wholly_reserved_ones():
    heron = MACHINES[0]
    small = pattern_for(heron, Bank(Range(0x1000, 0x10FF), "ram", "256 bytes"))
    assert small is not None and all(0x1000 <= a <= 0x10FF for a, _ in small.first.cells())
    odd = pattern_for(heron, Bank(Range(0x1000, 0x12FF), "ram", "768 bytes"))
    assert odd is not None and all(0x1000 <= a <= 0x12FF for a, _ in odd.first.cells())
    assert pattern_for(heron, Bank(Range(0x0100, 0x01FF), "ram", "the stack")) is None
