"""Every reason against a place is given, not only the first."""

from __future__ import annotations

from formats.image import Image, Range
from linktool import library, machine
from linktool.objections import Stand

HERON = machine.load("heron")


def reasons(name: str, at: int, size: int, **values: int) -> list[str]:
    program = library.load(name)
    held = {"before": (at - 1) & 0xFF, "program_first": at, "program_last": at + size - 1, **values}
    image = Image.from_bytes(at, bytes(size))
    stand = Stand(program, HERON, image, Range(0x00, 0x03), held)
    return [str(objection) for objection in stand.objections()]


def test_a_good_place() -> None:
    assert reasons("tick", 0x0300, 34) == []
    assert reasons("survey", 0x0280, 108) == []
    assert reasons("march", 0x0280, 218, first=0x1000, last=0x1FFF) == []


def test_all_reasons_come() -> None:
    found = reasons("tick", 0x01F0, 34)
    assert len(found) == 2
    assert found[0].startswith(
        "tick at 01F0-0211 overlaps stack (01F0-01FF, the processor's stack); line-buffer"
    )
    assert found[1].startswith("tick at 01F0-0211 crosses a page")


def test_the_survey_must_not_try_its_own_cells() -> None:
    (found,) = reasons("survey", 0x0401, 108)
    assert found == "survey would write to 0000-FF00, where its own cells are (0000-0003)"


def test_the_survey_may_touch_what_is_reserved_because_it_puts_it_back() -> None:
    assert reasons("survey", 0x0300, 108) == []  # tries the last byte of each page, 00FF and 01FF among them


def test_looking_at_registers_is_an_objection() -> None:
    (found,) = reasons("checksum", 0x0280, 103, first=0x9F02, last=0xFFFF)
    assert found == (
        "checksum would read 9F02-FFFF, which holds io (9F00-9F03, keyboard and display registers). "
        "Give another range"
    )
