"""What a spoilt dump still proves."""

from __future__ import annotations

from random import Random

from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool.dialect import examine_answer, rows
from linktool.resident.reading import salvage
from tests.linktool.resident.rig import MACHINES

DIALECT = MACHINES["heron"].dialect
DATA = Image.from_bytes(0x3F08, bytes.fromhex("A428B1282032 3FC8D0F8A204A902062E 262D"))
WHOLE = Range(0x3F08, 0x3F08 + len(DATA) - 1)
ROWS = ["3F08: A4 28 B1 28 20 32 3F C8", "3F10: D0 F8 A2 04 A9 02 06 2E", "3F18: 26 2D"]


def answer(*lines: str) -> str:
    return "\r" + "\r".join(lines) + "\r="


def test_the_rows_here_are_as_the_dialect_prints_them():
    shape = examine_answer(DIALECT, WHOLE)
    assert len(answer(*ROWS)) == len(shape)


def test_a_dump_that_came_whole_proves_everything():
    found = salvage(DIALECT, DATA, WHOLE, answer(*ROWS))
    assert found.proven == set(range(WHOLE.first, WHOLE.last + 1)) and not found.other


def test_one_changed_character_leaves_one_byte_open():
    found = salvage(DIALECT, DATA, WHOLE, answer(ROWS[0].replace("20 32", "2! 32"), *ROWS[1:]))
    assert set(range(WHOLE.first, WHOLE.last + 1)) - found.proven == {0x3F0C} and not found.other


def test_one_lost_character_leaves_one_byte_open():
    found = salvage(DIALECT, DATA, WHOLE, answer(ROWS[0].replace("B1", "B"), *ROWS[1:]))
    assert set(range(WHOLE.first, WHOLE.last + 1)) - found.proven == {0x3F0A}


def test_another_byte_in_a_row_of_good_shape_is_told_apart_from_noise():
    found = salvage(DIALECT, DATA, WHOLE, answer(ROWS[0], ROWS[1].replace("A9", "A8"), ROWS[2]))
    assert found.other == {0x3F14} and 0x3F14 not in found.proven


def test_a_row_that_does_not_begin_with_its_address_proves_nothing():
    found = salvage(DIALECT, DATA, WHOLE, answer("3F09" + ROWS[0][4:], *ROWS[1:]))
    assert not found.proven & set(range(0x3F08, 0x3F10))
    merged = "\r" + ROWS[0] + ROWS[1] + "\r" + ROWS[2] + "\r="
    found = salvage(DIALECT, DATA, WHOLE, merged)
    assert not found.proven & set(range(0x3F10, 0x3F18)) and 0x3F0E in found.proven


def test_a_byte_whose_last_digit_may_be_doubled_is_not_proven():
    """With a blank lost and a digit doubled the text ends early or late; the byte next to it stays open."""
    found = salvage(DIALECT, DATA, WHOLE, answer(ROWS[0].replace("C8", "C88"), *ROWS[1:]))
    assert 0x3F0F not in found.proven


@given(st.integers(0, 10_000), st.integers(0, 255), st.integers(0, 17))
def test_one_wrong_byte_is_never_proven_by_one_wrong_character_elsewhere(seed, value, which):
    draw = Random(seed)
    memory = dict(DATA.cells())
    address = WHOLE.first + which % len(DATA)
    memory[address] = value
    wrong = memory[address] != DATA.get(address)
    lines = [
        f"{row.first:04X}: " + " ".join(f"{memory[at]:02X}" for at in range(row.first, row.last + 1))
        for row in rows(DIALECT, WHOLE)
    ]
    text = list(answer(*lines))
    at = draw.randrange(len(text))
    place = text[at]
    text[at] = draw.choice(["", place * 2, chr(draw.randrange(0x20, 0x60))])
    found = salvage(DIALECT, DATA, WHOLE, "".join(text))
    start = "".join(answer(*lines)).index(f"{address & 0xFFF8:04X}: ") + 6 + 3 * (address & 7)
    hit = start - 1 <= at <= start + 2
    assert not (wrong and address in found.proven and not hit)


@given(st.text(alphabet="0123456789ABCDEF: \r=?", max_size=120))
def test_any_text_is_survived(text):
    found = salvage(DIALECT, DATA, WHOLE, text)
    assert found.proven <= set(range(WHOLE.first, WHOLE.last + 1))
