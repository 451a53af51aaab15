"""Free RAM, zero-page cells and I/O pages, from the two shipped profiles and from odd ones."""

from __future__ import annotations

from dataclasses import replace

from formats.image import Range
from linktool import machine
from linktool.free_memory import free_cells, free_ram, io_pages, largest_free, without
from linktool.machine import Area, Reserved

HERON, DOT = machine.load("heron"), machine.load("dot")


def test_free_ram_is_what_nobody_reserved() -> None:
    assert free_ram(HERON) == (Range(0x0000, 0x00EF), Range(0x0280, 0x3FFF))
    assert free_ram(DOT) == (Range(0x0000, 0x001F), Range(0x0030, 0x00FF), Range(0x0280, 0x1FFF))
    assert free_ram(HERON, ["line-buffer"])[1] == Range(0x0200, 0x3FFF)


def test_cells_are_the_first_run_that_is_long_enough() -> None:
    assert free_cells(DOT, 8) == Range(0x00, 0x07)
    assert free_cells(DOT, 0x21) == Range(0x30, 0x50)
    assert free_cells(DOT, 0xD1) is None
    assert free_cells(HERON, 0xF0) == Range(0x00, 0xEF)


def test_cells_stay_in_the_zero_page() -> None:
    bare = replace(HERON, reserved=(Reserved("low", Range(0x00, 0xFE), "taken"),))
    assert free_cells(bare, 1) == Range(0xFF, 0xFF)
    assert free_cells(bare, 2) is None


def test_the_largest_free_area_is_one_bank_without_the_program() -> None:
    assert largest_free(HERON, []) == Range(0x1000, 0x1FFF)
    assert largest_free(HERON, [Range(0x1000, 0x10FF)]) == Range(0x2000, 0x2FFF)
    small = replace(HERON, areas=(Area(Range(0, 0x03FF), "ram", "one K"),))
    assert largest_free(small, [Range(0x0280, 0x02FF)]) == Range(0x0300, 0x03FF)
    assert largest_free(small, [Range(0x0280, 0x03FF)]) is None


def test_io_pages_are_those_of_areas_and_of_registers() -> None:
    assert io_pages(HERON) == (0x9F, 0x9F)
    no_area = replace(HERON, areas=tuple(a for a in HERON.areas if a.kind != "io"))
    assert io_pages(no_area) == (0x9F, 0x9F)
    more = replace(
        HERON, areas=(*HERON.areas[:4], Area(Range(0x8000, 0x80FF), "io", "timer"), *HERON.areas[4:])
    )
    assert io_pages(more) == (0x80, 0x9F)
    assert io_pages(replace(no_area, symbols={"monitor": 0xFF00})) is None


def test_taking_ranges_out_of_ranges() -> None:
    assert without([Range(0, 9)], [Range(3, 4), Range(9, 20)]) == (Range(0, 2), Range(5, 8))
    assert without([Range(5, 6), Range(0, 1)], []) == (Range(0, 1), Range(5, 6))
    assert without([Range(5, 6)], [Range(0, 9)]) == ()
