"""Sizes of blocks, and marks around them."""

from __future__ import annotations

from formats.image import Range
from linktool.machine import with_link
from linktool.resident.block_plan import (
    best_block,
    longest_block,
    marks_before,
    marks_behind,
    transfer_keys,
)
from tests.linktool.resident.rig import MACHINES

HERON = with_link(MACHINES["heron"], rate=9600)


def test_blocks_are_as_long_as_the_faults_allow():
    assert longest_block(192) == 186 and longest_block(48) == 42
    assert best_block(0.0, 186) == 186
    sizes = [best_block(rate, 186) for rate in (0.0001, 0.001, 0.01, 0.05)]
    assert sizes == sorted(sizes, reverse=True) and sizes[0] > 150 and 12 <= sizes[2] <= 30 and sizes[3] >= 3


def test_marks_give_the_receiver_time_at_960_keys_a_second_even_where_the_profile_says_less():
    """1,041 cycles a key: a block of 186 bytes takes about 2,900 to move."""
    assert marks_behind(HERON, 186) == marks_behind(with_link(HERON, rate=300), 186) == 3
    assert marks_behind(HERON, 20) == 1
    assert marks_behind(with_link(HERON, rate=19200), 186) == 6
    assert marks_behind(HERON, 186, gap_s=0.005) == 1


def test_marks_give_the_display_time_between_two_answers():
    """One character a field, 16.7 ms: 17.6 keys at 960 a second with the margin."""
    assert marks_before(HERON, 13, 1 / 60) == 4
    assert marks_before(HERON, 30, 1 / 60) == 0


def test_keys_of_a_whole_transfer():
    assert transfer_keys(HERON, 192, [Range(0x0300, 0x0302)]) == 4 + 4 + 5 + 3
    assert transfer_keys(HERON, 192, [Range(0x0300, 0x12FF)]) == 5464 + 23 * 12
