"""Lists of ranges in one line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Range
from linktool.errors import UsageError
from linktool.machine import Area, Reserved
from linktool.range_list import areas_of, parse_ranges, parse_reserved, shown_ranges, shown_reserved


def test_ranges_come_sorted_whatever_parts_them():
    assert parse_ranges(" 2000-2FFF, 0000-0FFF\t4000+10") == (
        Range(0, 0x0FFF), Range(0x2000, 0x2FFF), Range(0x4000, 0x400F),
    )  # fmt: skip


@pytest.mark.parametrize("text", ["", "none", "NONE"])
def test_none_is_no_range(text):
    assert parse_ranges(text) == ()
    assert parse_reserved(text, ()) == ()


@pytest.mark.parametrize("text", ["0000-0FFF 0FFF-1FFF", "XYZ", "0FFF-0000", "0000-0FFF;"])
def test_what_will_not_do_is_refused(text):
    with pytest.raises(UsageError):
        parse_ranges(text)


@given(st.lists(st.integers(0, 0xFFFF), min_size=2, max_size=12, unique=True))
def test_what_is_shown_reads_back(ends):
    ends = sorted(ends[: len(ends) // 2 * 2])
    ranges = tuple(Range(ends[at], ends[at + 1]) for at in range(0, len(ends), 2))
    assert parse_ranges(shown_ranges(ranges)) == ranges


def test_reserved_areas_keep_their_reasons():
    before = (Reserved("stack", Range(0x100, 0x1FF), "the processor's stack"),)
    found = parse_reserved("stack 0100-01FF, mine 0300-03FF", before)
    assert [(each.name, each.reason) for each in found] == [
        ("stack", "the processor's stack"),
        ("mine", "named at setup"),
    ]
    assert parse_reserved(shown_reserved(found), found) == found
    with pytest.raises(UsageError, match="stack 0100-01FF"):
        parse_reserved("0300-03FF", ())


def test_areas_known_before_keep_their_labels():
    before = [Area(Range(0, 0xFFF), "ram", "row J")]
    found = areas_of([Range(0, 0xFFF), Range(0x1000, 0x1FFF)], "ram", before, "RAM")
    assert [each.label for each in found] == ["row J", "RAM"]
