"""Which bytes a survey tries: never ROM, I/O or what the monitor needs; tags that tell pages apart."""

from __future__ import annotations

from itertools import combinations

import pytest

from formats.image import Range
from linktool import machine as profiles
from linktool.probes import (
    COARSE_S,
    Probe,
    coarse_pages,
    guard_for,
    harmless,
    probes_for,
    seconds,
    tags,
    writable,
)

MACHINES = [profiles.load(name) for name in ("heron", "dot")]
HERON = MACHINES[0]


def addresses(probe: Probe) -> range:
    return range(probe.range.first, probe.range.last + 1)


@pytest.mark.parametrize("machine", MACHINES, ids=lambda m: m.name)
def test_every_page_is_in_one_probe_and_nothing_that_matters_is_written(machine):
    probes = probes_for(machine, range(0x100))
    assert sorted(page for probe in probes for page in probe.pages) == list(range(0x100))
    for probe in probes:
        if probe.use == "write":
            assert len(probe.range) <= 2
            assert all(writable(machine, address) for address in addresses(probe))
        for address in addresses(probe) if probe.use != "skip" else ():
            assert machine.kind_at(address) != "io"


def test_pages_with_registers_are_skipped_unless_told_and_then_only_read():
    (skipped,) = probes_for(HERON, [0x9F])
    assert skipped.use == "skip" and "I/O" in skipped.reason
    (told,) = probes_for(HERON, [0x9F], touch_io=True)
    assert told == Probe(Range(0x9F00, 0x9F03), "look", "I/O registers")


def test_rom_is_read_a_row_and_the_stack_a_byte():
    rom, stack = probes_for(HERON, [0xFF])[0], probes_for(HERON, [0x01])[0]
    assert rom.use == "look" and len(rom.range) == 8
    assert stack.use == "look" and "stack" in stack.reason


def test_neighbours_share_a_line():
    assert probes_for(HERON, [0x12, 0x13]) == (Probe(Range(0x12FF, 0x1300), "write"),)
    assert [p.range for p in probes_for(HERON, [0x13, 0x14])] == [
        Range(0x1300, 0x1300),
        Range(0x14FF, 0x14FF),
    ]


@pytest.mark.parametrize("machine", MACHINES, ids=lambda m: m.name)
def test_a_coarse_pass_looks_into_every_bank_within_its_time(machine):
    pages = coarse_pages(machine)
    for area in machine.areas:
        if area.kind in ("ram", "rom"):
            assert any(page * 0x100 in area.range for page in pages)
    assert seconds(machine, probes_for(machine, pages)) <= COARSE_S


WIDE = """
[machine]
name = "wide"
title = "48 KiB in one area"
[[area]]
first = "0000"
last = "BFFF"
kind = "ram"
[dialect]
deposit = "{address}:{bytes}"
examine = "{first}-{last}"
run = "{address}G"
ready = "="
cancel_key = "\\u001B"
cancel_answer = "="
"""


def test_a_coarse_pass_over_much_memory_is_coarser():
    wide = profiles.parse(WIDE, "wide.toml")
    pages = coarse_pages(wide)
    assert 4 <= len(pages) < 0xC0
    assert seconds(wide, probes_for(wide, pages)) <= COARSE_S
    assert guard_for(wide, probes_for(wide, pages)) is None, "nothing is reserved, nothing need be guarded"


def test_tags_differ_from_what_is_there_and_in_two_bits_from_each_other():
    probes = probes_for(HERON, range(0x100))
    before = {a: a >> 8 for probe in probes if probe.use == "write" for a in addresses(probe)}
    image = tags(probes, before)
    assert all(value != before[address] for address, value in image.cells())
    for low in (0x00, 0xFF):
        kind = [value for address, value in image.cells() if address & 0xFF == low]
        assert min((one ^ other).bit_count() for one, other in combinations(kind, 2)) >= 2
    pairs = [
        (image.get(p.range.first), image.get(p.range.last))
        for p in probes
        if len(p.range) == 2 and p.use == "write"
    ]
    assert all(one is not None and other == one ^ 0xFF for one, other in pairs)


def test_addresses_that_could_not_be_read_get_no_tag():
    probes = probes_for(HERON, [0x12, 0x13])
    assert [a for a, _ in tags(probes, {0x12FF: 0}).cells()] == [0x12FF]


def test_the_guard_is_tried_wherever_the_upper_lines_may_not_be_decoded():
    probes = probes_for(HERON, coarse_pages(HERON))
    guard = guard_for(HERON, probes)
    assert guard is not None and writable(HERON, guard.cell) and guard.cell in guard.block
    assert {0x1280, 0x2280, 0x3280} <= set(guard.reads), "the same place in the other banks"
    assert {guard.cell ^ 1 << line for line in (8, 9, 10, 11)} <= set(guard.reads)
    assert guard_for(HERON, probes_for(HERON, [0xFF])) is None


def test_what_would_reach_the_monitor_is_not_written():
    probes = probes_for(HERON, coarse_pages(HERON))
    guard = guard_for(HERON, probes)
    assert guard is not None
    in_bank_1 = next(p for p in probes if p.range.first in Range(0x1000, 0x1FFF))
    in_bank_2 = next(p for p in probes if p.range.first in Range(0x2000, 0x2FFF))
    assert harmless(HERON, guard, (), in_bank_1)
    assert not harmless(HERON, guard, (0x1280,), in_bank_1), "bank 1 shows bank 0"
    assert harmless(HERON, guard, (0x1280,), in_bank_2)
    low = Probe(Range(0x0AFF, 0x0B00), "write")
    assert harmless(HERON, guard, (), low)
    assert not harmless(HERON, guard, (guard.cell ^ 0x0800, guard.cell ^ 0x0200), low), "0AFF would be 00FF"
