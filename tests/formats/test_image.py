from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import TOP, Difference, Image, OverlapError, Range, Segment, hex4
from tests.formats.images import addresses, images

ranges = st.builds(lambda a, b: Range(min(a, b), max(a, b)), addresses, addresses)


def test_an_address_is_shown_as_four_upper_case_digits():
    assert [hex4(0), hex4(0x2AF), hex4(TOP)] == ["0000", "02AF", "FFFF"]


def test_a_range_counts_both_ends():
    assert len(Range(0x280, 0x28F)) == 16
    assert 0x280 in Range(0x280, 0x28F) and 0x28F in Range(0x280, 0x28F)
    assert 0x27F not in Range(0x280, 0x28F) and 0x290 not in Range(0x280, 0x28F)
    assert "0280" not in Range(0x280, 0x28F)


def test_a_range_is_shown_by_its_ends_or_its_only_address():
    assert str(Range(0x280, 0x2FF)) == "0280-02FF"
    assert str(Range(0x280, 0x280)) == "0280"


@pytest.mark.parametrize("first, last", [(-1, 4), (0, 0x10000), (0x10000, 0x10001), (5, 4)])
def test_a_range_outside_memory_or_backwards_is_no_range(first: int, last: int):
    with pytest.raises(ValueError):
        Range(first, last)


@given(ranges, ranges)
def test_two_ranges_overlap_where_both_hold_an_address(one: Range, other: Range):
    shared = set(range(one.first, one.last + 1)) & set(range(other.first, other.last + 1))
    common = one.overlap(other)
    assert (set() if common is None else set(range(common.first, common.last + 1))) == shared


def test_runs_are_sorted_and_joined_where_they_touch():
    image = Image.from_runs([(0x310, b"\x03"), (0x300, b"\x01"), (0x301, b"\x02"), (0x500, b"")])
    assert image.segments == (Segment(0x300, b"\x01\x02"), Segment(0x310, b"\x03"))
    assert len(image) == 3 and image.extent == Range(0x300, 0x310)


def test_runs_that_meet_are_refused_with_the_address_and_both_values():
    with pytest.raises(OverlapError) as caught:
        Image.from_runs([(0x300, b"\x01\x02\x03"), (0x302, b"\x09")])
    assert (caught.value.address, caught.value.old, caught.value.new) == (0x302, 3, 9)
    assert str(caught.value) == "0302 is given twice: 03 and 09"


@pytest.mark.parametrize("first, data", [(-1, b"\x00"), (0xFFFF, b"\x00\x00"), (0x10000, b"\x00")])
def test_bytes_outside_memory_are_refused(first: int, data: bytes):
    with pytest.raises(ValueError):
        Image.from_bytes(first, data)


@pytest.mark.parametrize(
    "segments",
    [
        (Segment(0x300, b""),),
        (Segment(0x300, b"\x01"), Segment(0x301, b"\x02")),
        (Segment(0x310, b"\x01"), Segment(0x300, b"\x02")),
        (Segment(0xFFFF, b"\x01\x02"),),
        (Segment(-1, b"\x01"),),
    ],
)
def test_an_image_is_checked_when_made(segments: tuple[Segment, ...]):
    with pytest.raises(ValueError):
        Image(segments)


@pytest.mark.parametrize("start", [-1, 0x10000])
def test_a_start_address_outside_memory_is_refused(start: int):
    with pytest.raises(ValueError):
        Image.from_bytes(0, b"\x00", start)


def test_a_gap_is_a_gap():
    image = Image.from_cells([(0x300, 0), (0x302, 0xFF)])
    assert [image.get(address) for address in range(0x2FF, 0x304)] == [None, 0, None, 0xFF, None]
    assert 0x300 in image and 0x301 not in image and "0300" not in image


def test_of_single_bytes_the_later_one_counts():
    assert Image.from_cells([(5, 1), (5, 2)]) == Image.from_bytes(5, b"\x02")


def test_an_empty_image_is_false_and_has_no_extent():
    assert not Image() and Image().extent is None and len(Image()) == 0
    assert Image().moved(0x300) == Image()


@given(images)
def test_cells_and_image_say_the_same(image: Image):
    cells = list(image.cells())
    assert cells == sorted(cells) and len(cells) == len(image)
    assert Image.from_cells(reversed(cells), image.start) == image
    assert all(image.get(address) == value for address, value in cells)


@given(images, ranges)
def test_slice_and_rest_are_the_cells_inside_and_outside(image: Image, wanted: Range):
    inside, outside = image.slice(wanted), image.without(wanted)
    assert list(inside.cells()) == [cell for cell in image.cells() if cell[0] in wanted]
    assert list(outside.cells()) == [cell for cell in image.cells() if cell[0] not in wanted]
    assert inside.start == outside.start == image.start
    assert image.meeting(wanted) == tuple(s for s in image.segments if s.range.overlap(wanted))


@given(images, images)
def test_overlay_replaces_what_both_hold(under: Image, over: Image):
    both = under.overlay(over, "replace")
    assert dict(both.cells()) == {**dict(under.cells()), **dict(over.cells())}
    assert both.start == (under.start if over.start is None else over.start)


@given(images, images)
def test_overlay_refuses_the_first_shared_address(one: Image, other: Image):
    shared = sorted(set(dict(one.cells())) & set(dict(other.cells())))
    if shared:
        with pytest.raises(OverlapError) as caught:
            one.overlay(other)
        assert caught.value.address == shared[0]
        assert (caught.value.old, caught.value.new) == (one.get(shared[0]), other.get(shared[0]))
    else:
        assert dict(one.overlay(other).cells()) == {**dict(one.cells()), **dict(other.cells())}


def test_overlay_may_allow_the_same_value_twice():
    image = Image.from_bytes(0x300, b"\x01\x02\x03")
    assert image.overlay(Image.from_bytes(0x301, b"\x02"), "same") == image
    with pytest.raises(OverlapError):
        image.overlay(Image.from_bytes(0x301, b"\x02\x04"), "same")


@given(images, images)
def test_differences_are_where_the_expected_bytes_are_not_found(expected: Image, found: Image):
    assert expected.difference(found) == tuple(
        Difference(address, value, found.get(address))
        for address, value in expected.cells()
        if found.get(address) != value
    )


def test_moving_takes_the_start_address_along():
    image = Image.from_runs([(0x300, b"\x01"), (0x310, b"\x02")], start=0x310)
    assert image.moved(0x400) == Image.from_runs([(0x400, b"\x01"), (0x410, b"\x02")], start=0x410)


@pytest.mark.parametrize("start, to", [(None, 0xFFFF), (0x200, 0x0), (0x9000, 0x8000)])
def test_a_move_that_would_leave_memory_is_refused(start: int | None, to: int):
    with pytest.raises(ValueError):
        Image.from_bytes(0x300, b"\x01\x02", start).moved(to)


def test_many_single_bytes_are_compared_and_laid_over_in_linear_time():
    even = Image.from_cells((address, 0) for address in range(0, TOP, 2))
    odd = Image.from_cells((address, 1) for address in range(1, TOP + 1, 2))
    assert len(even.overlay(odd).segments) == 1
    assert even.difference(even) == ()
    assert len(even.difference(odd)) == len(even)
