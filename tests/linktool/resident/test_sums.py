"""Sums, pieces and requests. What the processor makes of them: tests/outside/test_resident_sums.py."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Range
from linktool.resident import sums


def test_a_stretch_is_cut_so_that_only_its_first_piece_is_short():
    assert sums.pieces(Range(0x0280, 0x0280)) == [Range(0x0280, 0x0280)]
    assert sums.pieces(Range(0x0280, 0x037F)) == [Range(0x0280, 0x037F)]
    assert sums.pieces(Range(0x0280, 0x0380)) == [Range(0x0280, 0x0280), Range(0x0281, 0x0380)]
    assert sums.pieces(Range(0xFFFF, 0xFFFF)) == [Range(0xFFFF, 0xFFFF)]


@given(st.integers(0, 0xFFFF), st.integers(1, 2000))
def test_pieces_are_the_stretch_without_gap_or_overlap(first, length):
    stretch = Range(first, min(0xFFFF, first + length - 1))
    pieces = sums.pieces(stretch)
    assert [at for piece in pieces for at in range(piece.first, piece.last + 1)] == list(
        range(stretch.first, stretch.last + 1)
    )
    assert all(len(piece) == 256 for piece in pieces[1:]) and 1 <= len(pieces[0]) <= 256


def test_a_request_points_so_that_the_index_wraps_at_the_end_of_each_piece():
    at_low, at_high, index, pieces, *start = sums.request(Range(0x0280, 0x0380))
    assert at_low | at_high << 8 == 0x0280 - 0xFF and index == 0xFF and pieces == 2
    assert start == [1, 1, 0]
    at_low, at_high, index, pieces, *start = sums.request(Range(0x0300, 0x04FF))
    assert at_low | at_high << 8 == 0x0300 and index == 0 and pieces == 2
    assert start == [1, 0, 0]


def test_the_address_of_a_request_may_wrap_below_zero():
    at_low, at_high, index, _pieces, *_ = sums.request(Range(0x0003, 0x0006))
    assert ((at_low | at_high << 8) + index) & 0xFFFF == 0x0003


def test_a_sum_is_printed_as_four_of_the_64_characters():
    assert sums.printed(0x000000) == "    "
    assert sums.printed(0xFFFFFF) == "____"
    assert sums.printed(0x041041) == "!!!!"


@pytest.mark.parametrize("data", [b"", bytes(257)])
def test_a_piece_of_another_length_is_refused(data):
    with pytest.raises(ValueError, match="1 to 256"):
        sums.sum_of(data)


@given(st.binary(min_size=1, max_size=256), st.integers(0, 255), st.integers(0, 7))
def test_one_bit_changes_the_sum(data, at, bit):
    other = bytearray(data)
    other[at % len(data)] ^= 1 << bit
    assert sums.sum_of(bytes(other)) != sums.sum_of(data)
