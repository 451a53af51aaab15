"""Pages joined into stretches and held against the profile."""

from __future__ import annotations

from formats.image import Range
from linktool import machine as profiles
from linktool.map_check import kinds_of, stretches
from linktool.page_states import Page

HERON = profiles.load("heron")


def all_good() -> dict[int, Page]:
    kinds = kinds_of(HERON)
    states = {"ram": "ram", "rom": "rom", "io": "skipped", "none": "floating"}
    return {page: Page(page, states[kinds[page]]) for page in range(0x100)}  # type: ignore[arg-type]


def told(pages: dict[int, Page]) -> list[tuple[str, str, str, int]]:
    return [(str(s.range), s.state, s.verdict, s.probed) for s in stretches(HERON, list(pages.values()))]


def test_a_board_as_its_profile_says():
    found = stretches(HERON, list(all_good().values()))
    assert [str(each.range) for each in found] == [
        "0000-0FFF",
        "1000-1FFF",
        "2000-2FFF",
        "3000-3FFF",
        "4000-9EFF",
        "9F00-9FFF",
        "A000-FEFF",
        "FF00-FFFF",
    ]
    assert {each.verdict for each in found} == {"as expected"}
    assert found[2].label == "RAM bank 2, row L"


def test_a_bank_that_does_not_answer_is_wrong_as_a_whole():
    pages = all_good() | {page: Page(page, "floating") for page in range(0x20, 0x30)}
    assert ("2000-2FFF", "floating", "wrong", 16) in told(pages)


def test_pages_spread_over_a_bank_speak_for_it_where_they_agree_and_for_themselves_where_not():
    spread = (0x21, 0x22, 0x25, 0x26, 0x29, 0x2A, 0x2D, 0x2E)
    few = {page: Page(page, "floating") for page in spread}
    assert told(few) == [("2000-2FFF", "floating", "wrong", 8)]
    half = {page: Page(page, "floating" if page < 0x28 else "ram") for page in spread}
    assert told(half) == [("2100-26FF", "floating", "wrong", 4), ("2900-2EFF", "ram", "as expected", 4)]


def test_pages_at_one_end_of_a_bank_do_not_speak_for_the_other():
    assert told({page: Page(page, "ram") for page in (0x21, 0x22)}) == [
        ("2100-22FF", "ram", "as expected", 2)
    ]
    mirrored = {page: Page(page, "mirror", of=page - 0x40) for page in range(0x40, 0x60)}
    assert told(mirrored) == [("4000-5FFF", "mirror", "more than expected", 32)]


def test_a_page_that_keeps_only_some_bits_speaks_for_its_neighbours():
    pages = {page: Page(page, "faulty" if page % 2 else "ram") for page in range(0x10, 0x20)}
    (found,) = stretches(HERON, list(pages.values()))
    assert (found.state, found.faulty, found.probed, found.verdict) == ("faulty", 8, 16, "wrong")


def test_more_than_the_profile_says_is_no_fault():
    pages = all_good() | {page: Page(page, "ram") for page in range(0x40, 0x50)}
    assert ("4000-4FFF", "ram", "more than expected", 16) in told(pages)
    mirrored = all_good() | {page: Page(page, "mirror", of=page - 0x40) for page in range(0x40, 0x80)}
    found = next(s for s in stretches(HERON, list(mirrored.values())) if s.state == "mirror")
    assert (found.range, found.of, found.verdict) == (
        Range(0x4000, 0x7FFF),
        Range(0, 0x3FFF),
        "more than expected",
    )


def test_a_mirror_where_ram_is_expected_is_wrong():
    pages = all_good() | {page: Page(page, "mirror", of=page - 0x10) for page in range(0x10, 0x20)}
    assert ("1000-1FFF", "mirror", "wrong", 16) in told(pages)


def test_the_monitors_own_memory_counts_as_ram_and_rom_that_is_gone_is_wrong():
    pages = {0x00: Page(0, "ram"), 0x01: Page(1, "in use"), 0xFF: Page(0xFF, "floating")}
    assert told(pages) == [("0000-01FF", "ram", "as expected", 2), ("FF00-FFFF", "floating", "wrong", 1)]


def test_nothing_looked_at_is_nothing_said():
    assert stretches(HERON, []) == ()
