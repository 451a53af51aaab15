"""Single causes against single samples: what agrees, what is contradicted, what speaks for it."""

from __future__ import annotations

from formats.image import Range
from linktool import causes
from linktool.causes import Cause
from linktool.evidence import Sample


def samples(*triples: tuple[int, int, int]) -> list[tuple[Sample, ...]]:
    """One round of (address, expected, found)."""
    return [tuple(Sample(address, expected, (found,)) for address, expected, found in triples)]


def test_stuck_counts_what_should_have_been_the_other_and_is_contradicted_by_one_reading():
    rounds = samples((0x10, 0xFF, 0xF7), (0x11, 0x00, 0x00), (0x12, 0x08, 0x00))
    assert causes.stuck_at(rounds, 3, 0) == 2
    assert causes.stuck_at(rounds, 3, 1) == 0
    assert causes.stuck_at([*rounds, *samples((0x13, 0x08, 0x08))], 3, 0) == 0


def test_joined_bits_read_the_same_by_the_level_that_wins():
    low = samples((1, 0b01, 0b00), (2, 0b10, 0b00), (3, 0b11, 0b11), (4, 0b00, 0b00))
    assert causes.joined_bits(low, 0, 1, 0) == 2 and causes.joined_bits(low, 0, 1, 1) == 0
    high = samples((1, 0b01, 0b11), (2, 0b10, 0b11), (3, 0b00, 0b00))
    assert causes.joined_bits(high, 0, 1, 1) == 2
    first = samples((1, 0b01, 0b11), (2, 0b10, 0b00))
    assert causes.joined_bits(first, 0, 1, None) == 2 and causes.joined_bits(first, 1, 0, None) == 0


def test_addresses_that_share_a_cell_read_what_one_of_them_was_to_hold():
    rounds = samples((0x100, 0x11, 0x22), (0x110, 0x22, 0x22), (0x101, 0x33, 0x33))
    assert causes.sharing(rounds, 0xFF, causes.dead(4)) == 1
    assert causes.sharing(rounds, 0xFF, causes.dead(0)) == 0, "100 and 101 read differently"
    other = samples((0x100, 0x11, 0x44), (0x110, 0x22, 0x44))
    assert causes.sharing(other, 0xFF, causes.dead(4)) == 0, "44 was written to neither"
    assert causes.sharing(other, 0x01, causes.dead(4)) == 1, "but in bit 0 it agrees with the second"


def test_which_cell_is_reached():
    assert causes.dead(3)(0x1008) == 0x1000
    low, high = causes.joined(0, 1, 0), causes.joined(0, 1, 1)
    assert [low(n) for n in range(4)] == [0, 0, 0, 3]
    assert [high(n) for n in range(4)] == [0, 3, 3, 3]


def test_a_bus_that_nobody_drives_reads_the_high_half_of_the_address():
    rounds = samples((0x1001, 0xAA, 0x10), (0x1102, 0x55, 0x11), (0x1203, 0x0F, 0x12))
    assert causes.nothing_there(rounds) == 3
    assert causes.silent(rounds, 0x03) == 2
    assert causes.nothing_there(samples((0x1001, 0xAA, 0x10))) == 0, "one address is no bank"


def test_what_reads_one_byte_throughout_or_the_same_twice_is_not_there():
    assert causes.nothing_there(samples((1, 0xAA, 0xFF), (2, 0x55, 0xFF))) == 2
    twice = [*samples((1, 0xAA, 0x12), (2, 0x55, 0x34)), *samples((1, 0x55, 0x12), (2, 0xAA, 0x34))]
    assert causes.nothing_there(twice) == 4
    assert causes.nothing_there(samples((1, 0xAA, 0x12), (2, 0x55, 0x34))) == 0, "one round does not tell"


def test_a_row_shares_one_half_of_the_address_lines():
    assert causes.in_one_row([0x1040, 0x1051, 0x107F], 12)
    assert causes.in_one_row([0x1004, 0x1044, 0x1FC4], 12)
    assert not causes.in_one_row([0x1000, 0x1041, 0x1082], 12)


def test_banks_mirror_each_other_only_where_an_address_of_both_was_tried():
    one, other = Range(0x0000, 0x0FFF), Range(0x1000, 0x1FFF)
    assert causes.mirrors(samples((0x0010, 1, 2), (0x1010, 2, 2)), one, other) == 1
    assert causes.mirrors(samples((0x0010, 1, 2), (0x1020, 2, 2)), one, other) == 0
    assert causes.mirrors(samples((0x0010, 1, 2), (0x1010, 2, 2)), one, Range(0x1000, 0x17FF)) == 0


def test_causes_of_a_chip_always_include_its_bad_cells():
    rounds = samples((0x1000, 0x08, 0x00), (0x1001, 0x08, 0x08))
    found = causes.of_chip(rounds, (Range(0x1000, 0x1FFF),), (3,), 12)
    assert Cause("cells", (Range(0x1000, 0x1FFF),), (3,), addresses=(0x1000,)) in found
    assert causes.of_chip(rounds, (), (2,), 12) == {}
