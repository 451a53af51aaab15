"""Where routines may stand."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from formats.image import Range
from linktool.machine import Reserved, with_link
from linktool.resident.placement import BUFFER_LEAST, BUFFER_MOST, CELLS, lacking, places
from linktool.resident.routines import length
from tests.linktool.resident.rig import MACHINES

HERON, DOT = MACHINES["heron"], MACHINES["dot"]
BOTH = length(True)


def test_the_end_of_the_highest_ram_is_the_first_choice():
    place = places(HERON, BOTH, True, [Range(0x0280, 0x12FF)])[0]
    assert place.window == Range(0x3F00, 0x3FFF)
    assert place.code == Range(0x3F08, 0x3F08 + BOTH - 1)
    assert place.page_zero == Range(0x28, 0xEF), "as high as the monitor's workspace lets it"
    assert places(DOT, BOTH, True, [])[0].page_zero == Range(0x38, 0xFF)


def test_other_banks_follow_in_case_one_is_not_there():
    firsts = [place.code.first >> 12 for place in places(HERON, BOTH, True, [])]
    assert firsts == [3, 2, 1, 0]


@given(st.lists(st.tuples(st.integers(0, 0x3FFF), st.integers(1, 0x1000)), max_size=6))
def test_a_place_is_clear_of_everything_taken_and_reserved(taken):
    ranges = [Range(first, min(first + length - 1, 0x3FFF)) for first, length in taken]
    for place in places(HERON, BOTH, True, ranges):
        assert place.clear_of(ranges) and place.clear_of(each.range for each in HERON.reserved)
        assert all(
            HERON.kind_at(at) == "ram"
            for part in (place.code, place.page_zero)
            for at in (part.first, part.last)
        )
        assert place.code.first >= 0x0200
        assert BUFFER_LEAST <= place.size <= BUFFER_MOST


def test_an_image_up_to_the_last_byte_before_the_window_leaves_it_alone():
    assert places(HERON, BOTH, True, [Range(0x0280, 0x3EFF)])[0].window == Range(0x3F00, 0x3FFF)
    closer = places(HERON, BOTH, True, [Range(0x0280, 0x3F00)])[0]
    assert closer.window is None and closer.code == Range(0x4000 - BOTH, 0x3FFF)
    assert not places(HERON, BOTH, True, [Range(0x0280, 0x4000 - BOTH)])


def test_what_calls_for_care_is_left_alone_where_there_is_other_room():
    old = [Range(0x3F80, 0x3FFF)]
    assert places(HERON, BOTH, True, [], old)[0].window == Range(0x3E80, 0x3F7F)
    everywhere = [Range(0x0280, 0x3FFF)]
    assert places(HERON, BOTH, True, [], everywhere)[0].window == Range(0x3F00, 0x3FFF)


def test_page_zero_taken_means_no_buffer_or_no_place_at_all():
    small = places(HERON, length(False), False, [Range(0x00, 0xEF - CELLS)])[0]
    assert small.size == 0 and small.cells == 0xF0 - CELLS
    assert not places(HERON, BOTH, True, [Range(0x00, 0xEF - CELLS)])
    assert not places(HERON, length(False), False, [Range(0x00, 0xEF)])


def test_the_stack_page_is_never_used_even_where_a_profile_forgets_it():
    bare = replace(HERON, reserved=(Reserved("all", Range(0x0200, 0x3FFF), "taken"),))
    assert not places(bare, BOTH, True, [])


def test_what_a_machine_lacks_is_named():
    assert lacking(HERON, True) == ""
    assert "one-way" in lacking(with_link(HERON, echo=False), False)
    assert "time alone" in lacking(with_link(HERON, pacing="timed"), True)
    symbols = {name: at for name, at in HERON.symbols.items() if not name.startswith("key_")}
    assert lacking(replace(HERON, symbols=symbols), False) == ""
    assert "key_status, key_data" in lacking(replace(HERON, symbols=symbols), True)
