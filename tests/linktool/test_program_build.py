"""Building a program for a machine: cells, place, symbols, parameters, and every refusal's sentence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formats.image import Image, Range
from linktool import library, machine
from linktool.errors import RefusedError, UsageError
from linktool.machine import Area, Machine, Reserved
from linktool.program_build import build
from tests.linktool.program_texts import DESCRIPTION, SOURCE, changed, program

HERON, DOT = machine.load("heron"), machine.load("dot")


def with_areas(*areas: Area, base: Machine = HERON) -> Machine:
    return replace(base, areas=areas)


def test_a_program_goes_to_the_first_ram_behind_the_reserved_areas() -> None:
    built = build(program(), HERON)
    assert built.image == Image.from_bytes(
        0x0280, bytes.fromhex("A9418D00104C") + (0xFF0D).to_bytes(2, "little")
    )
    assert built.start == 0x0280
    assert built.cells == Range(0x00, 0x01)
    assert built.values["program_last"] == 0x0287
    assert (built.values["first"], built.values["value"]) == (0x1000, 0x41)


def test_one_source_serves_every_profile() -> None:
    for target in (HERON, DOT):
        code = build(program(), target).image.segments[0].data
        assert code[-2:] == target.symbols["monitor"].to_bytes(2, "little")
    busy = replace(DOT, reserved=(*DOT.reserved, Reserved("notes", Range(0x00, 0x40), "kept")))
    assert build(program(), busy).cells == Range(0x41, 0x42)


def test_another_place_and_other_values() -> None:
    built = build(program(), HERON, at=0x0400, parameters={"first": 0x0300, "value": 0x42})
    assert built.image.get(0x0401) == 0x42
    assert built.image.get(0x0403) == 0x00
    assert built.image.get(0x0404) == 0x03


def test_without_a_place_given_it_keeps_out_of_the_range_it_writes() -> None:
    built = library.build(library.load("march"), HERON, parameters={"first": 0x0280, "last": 0x0FFF})
    assert built.image.extent == Range(0x1000, 0x1000 + len(built.image) - 1)


def test_a_beat_s_program_is_put_into_one_page() -> None:
    tight = replace(HERON, reserved=(*HERON.reserved, Reserved("notes", Range(0x0280, 0x02F0), "kept")))
    assert library.build(library.load("tick"), tight).start == 0x0300


@pytest.mark.parametrize(
    ("parameters", "message"),
    [
        ({"colour": 1}, "trial has no parameter colour; known: first, value"),
        ({"value": 0x80}, "trial: value is 80; allowed: 00 to 7F"),
        ({"value": -1}, "trial: value is -1; allowed: 00 to 7F"),
    ],
)
def test_parameters_that_are_not_the_program_s(parameters: dict[str, int], message: str) -> None:
    with pytest.raises(UsageError) as caught:
        build(program(), HERON, parameters=parameters)
    assert caught.value.message == message


def refusal(target: Machine = HERON, at: int | None = None, **parameters: int) -> str:
    with pytest.raises(RefusedError) as caught:
        build(program(), target, at=at, parameters=parameters)
    return str(caught.value)


def test_a_symbol_the_profile_lacks() -> None:
    bare = replace(HERON, symbols={"char_out": 0xFFF1}, source="bare.toml")
    assert refusal(bare) == (
        "trial needs monitor, which the profile of heron does not name. Add it under [symbols] in bare.toml"
    )


def test_no_room_in_the_zero_page() -> None:
    full = replace(HERON, reserved=(*HERON.reserved, Reserved("low", Range(0x01, 0xEF), "kept")))
    assert refusal(full) == "trial needs 2 bytes of zero page in a row, which heron has not free"


def test_no_room_in_ram() -> None:
    small = with_areas(Area(Range(0x0000, 0x0283), "ram", "little RAM"), HERON.areas[-1])
    message = refusal(small, first=0x0010)
    assert message == "trial has 7 bytes and does not fit on heron: the longest free stretch of RAM has 4"


def test_no_memory_left_to_test() -> None:
    small = with_areas(Area(Range(0x0000, 0x0287), "ram", "little RAM"), HERON.areas[-1])
    assert refusal(small) == (
        "trial finds no RAM that is free beside it in the profile of heron. Give first yourself"
    )


@pytest.mark.parametrize(
    ("at", "areas"),
    [
        (0x01F8, "stack (01F8-01FF, the processor's stack)"),
        (0x027F, "line-buffer (027F, the monitor's line buffer)"),
        (0x00EF, "workspace (00F0-00F6, the monitor's workspace)"),
        (0x4000, "none (4000-4007, a hole in the memory map: nothing fitted)"),
        (0x3FFF, "none (4000-4006, a hole in the memory map: nothing fitted)"),
        (0x9EFF, "none (9EFF, a hole in the memory map: nothing fitted); io (9F00-9F03, I/O registers"),
        (0xFF10, "rom (FF10-FF17, ROM: monitor ROM)"),
    ],
)
def test_reserved_areas_rom_io_and_holes(at: int, areas: str) -> None:
    message = refusal(at=at)
    assert message.startswith(f"trial at {at:04X}-{at + 7:04X} overlaps ")
    assert areas in message
    assert message.endswith("Give it another place with --at")


def test_an_area_that_is_forced() -> None:
    with pytest.raises(RefusedError):
        build(program(), HERON, at=0x0200)
    assert build(program(), HERON, at=0x0200, forced=["line-buffer"]).start == 0x0200


def test_past_the_end_of_memory() -> None:
    assert refusal(at=0xFFFC) == "trial has 8 bytes and does not fit at FFFC"


def test_a_program_that_would_test_itself() -> None:
    assert refusal(at=0x0300, first=0x0303) == (
        "trial would write to 0303 while it sits at 0300-0307. Move it with --at, or give another range"
    )
    assert refusal(first=0x0001) == "trial would write to 0001, where its own cells are (0000-0001)"


def test_what_it_would_write_must_be_free_ram() -> None:
    assert refusal(first=0x0110) == (
        "trial would write to 0110, which overlaps stack (0110, the processor's stack). Give another range"
    )
    assert "which overlaps rom (FF00" in refusal(first=0xFF00)


def test_ranges_that_cannot_be() -> None:
    with pytest.raises(RefusedError, match="runs backwards: 2000 to 1000"):
        library.build(library.load("fill"), HERON, parameters={"first": 0x2000, "last": 0x1000})
    with pytest.raises(RefusedError, match="would go to 100FE, outside 0000-FFFF"):
        library.build(library.load("move"), HERON, parameters={"first": 0x1000, "last": 0x10FF, "to": 0xFFFF})


def test_a_source_that_does_not_assemble_is_told_with_file_and_line() -> None:
    with pytest.raises(UsageError, match=r"trial/source\.s, line 2"):
        build(program(source=changed("lda #value", "lda #valuw", SOURCE)), HERON)


def test_a_size_that_is_not_the_source_s() -> None:
    with pytest.raises(UsageError, match="gives 8 bytes, and the description beside it says size = 9"):
        build(program(changed("zero_page", "size = 9\nzero_page")), HERON)


FIXED = changed("[[writes]]", "[place]\nfixed = true\n[[writes]]")


def test_a_program_with_a_place_of_its_own() -> None:
    own = program(FIXED, "        .org $0300\n        nop\nstart:" + SOURCE)
    built = build(own, HERON)
    assert built.image.extent == Range(0x0300, 0x0308)
    assert built.start == 0x0301
    assert build(own, HERON, at=0x0300).image == built.image
    with pytest.raises(RefusedError, match="is written for 0300 and cannot be at 0400"):
        build(own, HERON, at=0x0400)
    with pytest.raises(RefusedError, match="overlaps stack"):
        build(program(FIXED, "        .org $0180" + SOURCE), HERON)


def test_what_memory_holds_afterwards() -> None:
    leaves = changed("[[writes]]", '[[leaves]]\nfirst = "first"\nlast = "first"\nvalue = "value"\n[[writes]]')
    assert build(program(leaves), HERON).leaves == Image.from_bytes(0x1000, b"\x41")
    copy = changed('value = "value"', 'copy_of = "program_first"', leaves)
    assert build(program(copy), HERON).leaves == Image.from_bytes(0x1000, b"\xa9")


def test_the_time_it_takes() -> None:
    costs = DESCRIPTION + "\n[cost]\nfixed = 1000\nvalue = 10_000\n"
    assert build(program(costs), HERON).seconds == pytest.approx(0.001 + 0x41 * 0.01 + 1 / 60)
    slow = replace(HERON, clock_hz=500_000)
    assert build(program(costs), slow).seconds == pytest.approx(0.002 + 0x41 * 0.02 + 1 / 60)


def test_a_source_with_a_gap_must_say_that_it_has_its_place() -> None:
    with pytest.raises(UsageError, match="gives 9 bytes in one place and 9 in another, or leaves gaps"):
        build(program(source=SOURCE + "        .org $0500\n        nop\n"), HERON)
