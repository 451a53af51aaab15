"""What a page is called, by what was read there."""

from __future__ import annotations

import pytest

from formats.image import Image, Range
from linktool.page_states import ERASED, Looked, Page, floats, needs_row, page_states
from linktool.probes import Probe

KINDS = {page: "ram" if page < 0x40 else "none" for page in range(0x100)} | {0xFF: "rom", 0x9F: "io"}


def states(
    cells: dict[int, tuple[object, int, object]], rows: dict[int, tuple[int, ...]] | None = None
) -> list[Page]:
    """Pages for single written bytes: address -> (before, tag, after), each reading or readings."""

    def several(value: object) -> tuple[int, ...]:
        return value if isinstance(value, tuple) else (value,)  # type: ignore[return-value]

    probes = tuple(Probe(Range(address, address), "write") for address in cells)
    looked = Looked(
        {a: several(before) for a, (before, _, _) in cells.items()},
        Image.from_cells((a, tag) for a, (_, tag, _) in cells.items()),
        {a: several(after) for a, (_, _, after) in cells.items()},
        rows or {},
    )
    return list(page_states(probes, looked, KINDS))


def one(before: object, tag: int, after: object, address: int = 0x10FF, **more: object) -> Page:
    return states({address: (before, tag, after)}, **more)[0]  # type: ignore[arg-type]


def test_what_keeps_a_byte_is_ram_wherever_it_is():
    assert one(0x12, 0x5A, 0x5A).state == "ram"
    assert one(0x50, 0x5A, 0x5A, 0x50FF).state == "ram"


@pytest.mark.parametrize("value", [0x10, 0xFF, 0x00])
def test_what_stays_as_an_undriven_bus_does_not_answer(value):
    assert one(value, 0x5A, value).state == "floating"


def test_what_stays_and_differs_within_a_row_is_rom_and_a_flat_row_is_nothing():
    row = {0x10F8 + n: (n * 3 & 0xFF,) for n in range(8)}
    assert one(0x33, 0x5A, 0x33, rows=row).state == "rom"
    flat = {0x10F8 + n: (0x33,) for n in range(8)}
    assert one(0x33, 0x5A, 0x33, rows=flat).state == "floating"


def test_some_bits_only_is_bad_ram_and_elsewhere_looks_like_io():
    assert one(0x12, 0x5A, 0x52).state == "faulty"
    assert one(0x12, 0x5A, 0x52, 0x50FF).state == "io"


def test_what_never_held_still_was_not_written():
    assert one((1, 2, 3), 0x5A, ()).state == "faulty"
    assert one((1, 2, 3), 0x5A, (), 0x50FF).state == "io"


def test_a_hole_that_flickers_between_bus_values_is_still_nothing():
    assert one(0x50, 0x5A, (0x50, 0xFF), 0x50FF).state == "floating"


def test_pages_that_show_another_ones_tag_mirror_the_page_where_the_memory_belongs():
    found = states({0x00FF: (1, 0x5A, 0x3C), 0x40FF: (1, 0x3C, 0x3C), 0x20FF: (1, 0x66, 0x66)})
    assert [(page.number, page.state, page.of) for page in found] == [
        (0x00, "ram", None),
        (0x40, "mirror", 0x00),
        (0x20, "ram", None),
    ]


def test_a_tag_damaged_into_another_pages_tag_needs_that_page_to_agree():
    found = states({0x10FF: (1, 0x5A, 0x3C), 0x20FF: (1, 0x3C, 0x7C)})
    assert [page.state for page in found] == ["faulty", "faulty"]


def test_pages_that_are_only_read():
    look = (Probe(Range(0xFF80, 0xFF87), "look"), Probe(Range(0x0180, 0x0180), "look", "the stack"))
    rom = {0xFF80 + n: (n, n) for n in range(8)}
    looked = Looked({**rom, 0x0180: (7, 7)}, Image(), {}, {})
    assert [page.state for page in page_states(look, looked, KINDS)] == ["rom", "in use"]
    gone = Looked({0xFF80 + n: (0xFF, 0xFF) for n in range(8)}, Image(), {}, {})
    assert page_states(look[:1], gone, KINDS)[0].state == "floating"
    high = Looked({0xFF80 + n: (0xFF,) for n in range(8)} | {0xFF80: (0xFE, 0xFF)}, Image(), {}, {})
    assert page_states(look[:1], high, KINDS)[0].state == "io", "it changed by itself"
    skipped = (Probe(Range(0x9F00, 0x9FFF), "skip", "I/O registers"),)
    assert page_states(skipped, Looked({}, Image(), {}, {}), KINDS)[0] == Page(
        0x9F, "skipped", reason="I/O registers"
    )


def looked_at(cells: dict[int, tuple[int, int]]) -> Looked:
    """before and after by address; every tag is 5A."""
    return Looked(
        {address: (before,) for address, (before, _) in cells.items()},
        Image.from_cells((address, 0x5A) for address in cells),
        {address: (after,) for address, (_, after) in cells.items()},
        {},
    )


def test_a_row_is_read_only_where_it_can_tell():
    looked = looked_at({0x50FF: (0x33, 0x33), 0x52FF: (0x52, 0x52), 0x60FF: (0x33, 0x5A)})
    assert [needs_row(a, looked) for a in (0x50FF, 0x52FF, 0x60FF)] == [True, False, False]
    assert floats(0x50FF, 0x50) and not floats(0x50FF, 0x51)


def test_a_row_is_read_beside_a_page_that_answers():
    """A ROM may hold the very byte that an empty bus would show."""
    looked = looked_at({0x50FF: (0x33, 0x33), 0x5100: (0x51, 0x51), 0x5300: (0x53, 0x53)})
    assert [needs_row(a, looked) for a in (0x5100, 0x5300)] == [True, False]


def test_a_row_is_read_where_the_empty_pages_of_the_board_read_otherwise():
    empty = {page << 8 | 0xFF: (page, page) for page in (0x60, 0x62, 0x64, 0x66)}
    looked = looked_at({**empty, 0x50FF: (0xFF, 0xFF)})
    assert looked.idle == "high half" and needs_row(0x50FF, looked)
    few = looked_at({0x60FF: (0x60, 0x60), 0x50FF: (0xFF, 0xFF)})
    assert few.idle is None and not needs_row(0x50FF, few)


def test_an_erased_rom_is_told_from_a_bus_that_floats_otherwise():
    empty = {page << 8 | 0xFF: (page, 0x5A, page) for page in (0x60, 0x62, 0x64, 0x66)}
    row = {0x50F8 + n: (0xFF,) for n in range(8)}
    assert states({0x50FF: (0xFF, 0x5A, 0xFF), **empty}, rows=row)[0].state == "rom"
    assert one(0xFF, 0x5A, 0xFF, 0x50FF, rows=row).state == "floating"


def test_what_was_not_read_again_is_not_judged():
    assert one(0x12, 0x5A, ()).state == "not probed"
    assert page_states((Probe(Range(0xFF80, 0xFF87), "look"),), Looked({}, Image(), {}, {}), KINDS) == (
        Page(0xFF, "not probed", reason="it could not be read"),
    )


def test_a_rom_that_holds_one_byte_throughout_is_rom():
    look = (Probe(Range(0xFF80, 0xFF87), "look"),)
    looked = Looked({0xFF80 + n: (0xEA, 0xEA) for n in range(8)}, Image(), {}, {})
    assert page_states(look, looked, KINDS)[0].state == "rom"


@pytest.mark.parametrize("value", [0x33, 0x00])
def test_a_single_page_of_ram_that_takes_nothing_is_bad_ram(value):
    row = {0x12F8 + n: (n * 3 & 0xFF,) for n in range(8)}
    found = states({0x10FF: (1, 0x5A, 0x5A), 0x12FF: (value, 0x3C, value), 0x14FF: (1, 0x66, 0x66)}, rows=row)
    assert [page.state for page in found] == ["ram", "faulty", "ram"]


def test_what_read_the_same_before_is_no_mirror_though_it_reads_like_a_tag():
    """An undriven bus reads the high half of its address (common practice): another page's tag, perhaps."""
    home, empty = states({0x0DFF: (0x12, 0x49, 0x49), 0x49FF: (0x49, 0x77, 0x49)})
    assert (home.state, empty.state) == ("ram", "floating")
    home, shows = states({0x0DFF: (0x12, 0x49, 0x49), 0x49FF: (0x12, 0x77, 0x49)})
    assert (home.state, shows.state, shows.of) == ("ram", "mirror", 0x0D)


def test_a_page_of_ones_is_said_to_be_unsure_where_it_is_not_known_how_an_empty_page_reads():
    assert one(0xFF, 0x5A, 0xFF, 0x50FF).reason == ERASED
    assert one(0x50, 0x5A, 0x50, 0x50FF).reason == ""
    empty = {page << 8 | 0xFF: (0xFF, 0x5A, 0xFF) for page in (0x60, 0x62, 0x64, 0x66)}
    assert {page.reason for page in states(empty)} == {""}


@pytest.mark.parametrize(
    ("own", "read", "state"),
    [(0xA5, 0xA5, "mirror"), (0xA5, 0x5A, "faulty"), (0xA4, 0x5A, "faulty"), (0x5A, 0x5A, "mirror")],
)
def test_a_mirror_follows_what_is_written_later_too(own, read, state):
    """In two stuck bits tags may look alike. A home that did not change tells nothing."""
    looked = Looked(
        {0x10FF: (1,), 0x20FF: (2,)},
        Image.from_cells([(0x10FF, 0x5A), (0x20FF, 0x3C)]),
        {0x10FF: (0x5A,), 0x20FF: (0x5A,)},
        {},
        {0x10FF: (own,), 0x20FF: (read,)},
    )
    probes = (Probe(Range(0x10FF, 0x10FF), "write"), Probe(Range(0x20FF, 0x20FF), "write"))
    assert page_states(probes, looked, KINDS)[1].state == state
