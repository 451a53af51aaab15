"""What is typed, and how answers are read. Expected texts are written out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool import dialect as speech
from linktool import machine as profiles

HERON, DOT = profiles.load("heron").dialect, profiles.load("dot").dialect
LETTERS = profiles.load(str(Path(__file__).with_name("letters.toml"))).dialect

DUMP = "\r0283: 01 02 03 04 05\r0288: 06 07 08 09 0A 0B 0C 0D\r0290: 0E 0F\r="
DUMPED = Image.from_bytes(0x0283, bytes(range(1, 16)))
WANTED = Range(0x0283, 0x0291)


def test_the_lines():
    assert speech.examine_line(HERON, WANTED) == "283-291"
    assert speech.examine_line(DOT, WANTED) == "283.291"
    assert speech.examine_line(LETTERS, WANTED) == "D 0283 0291"
    assert speech.run_line(HERON, 0x0280) == "280G"
    assert speech.run_line(DOT, 0x0280) == "280R"
    assert speech.run_line(LETTERS, 0x0280) == "G 0280"


def test_the_answers_are_counted_exactly():
    assert len(speech.examine_answer(HERON, WANTED)) == len(DUMP)
    assert speech.same(speech.examine_answer(HERON, WANTED), DUMP)
    assert speech.deposit_answer(DOT, 0x0280) == "\r0280: \0\0\r"
    assert speech.run_answer(DOT, 0x0280) == "\r0280: \0\0"
    assert speech.run_answer(HERON, 0x0280) == "\r"


def test_a_dump_is_read():
    assert speech.read_rows(HERON, WANTED, DUMP) == speech.Reading(DUMPED, ())


def test_rows_of_sixteen_without_a_colon():
    answer = "\r0283 " + " ".join(f"{n:02X}" for n in range(1, 14)) + "\r0290 0E 0F\r+ "
    assert speech.read_rows(LETTERS, WANTED, answer) == speech.Reading(DUMPED, ())


@pytest.mark.parametrize(
    ("spoilt", "rows"),
    [
        (DUMP.replace("06", "6"), [Range(0x0288, 0x028F)]),
        (DUMP.replace("0288:", "0289:"), [Range(0x0288, 0x028F)]),
        (DUMP.replace("0A", "GA"), [Range(0x0288, 0x028F)]),
        (DUMP.replace("0290", "0283"), [Range(0x0290, 0x0291)]),
        ("", [Range(0x0283, 0x0287), Range(0x0288, 0x028F), Range(0x0290, 0x0291)]),
    ],
)
def test_a_spoilt_row_is_named_and_the_others_count(spoilt, rows):
    reading = speech.read_rows(HERON, WANTED, spoilt)
    assert list(reading.spoilt) == rows
    expected = DUMPED
    for row in rows:
        expected = expected.without(row)
    assert reading.image == expected


@given(st.text(alphabet=st.characters(max_codepoint=127)), st.sampled_from([HERON, DOT, LETTERS]))
def test_any_text_is_survived(answer, dialect):
    reading = speech.read_rows(dialect, WANTED, answer)
    covered = sum(len(row) for row in reading.spoilt) + len(reading.image)
    assert covered == len(WANTED)


@given(st.binary(min_size=1, max_size=64), st.integers(0, 0xFFC0), st.integers(0, 300), st.integers(32, 95))
def test_one_changed_character_never_gives_more_than_one_wrong_byte(data, first, place, code):
    image = Image.from_bytes(first, data)
    wanted = image.segments[0].range
    text = speech.examine_answer(HERON, wanted)
    digits = iter(data.hex().upper())
    text = "".join(next(digits) if character == speech.ANY else character for character in text)
    place %= len(text)
    reading = speech.read_rows(HERON, wanted, text[:place] + chr(code) + text[place + 1 :])
    wrong = [cell for cell in reading.image.cells() if image.get(cell[0]) != cell[1]]
    assert len(wrong) <= 1


@given(st.binary())
def test_bytes_from_the_wire_become_safe_text(data):
    text = speech.printable(speech.received_text(data, "cr"))
    assert all(character == "\n" or " " <= character <= "_" for character in text)


def test_new_lines_of_the_link():
    assert speech.received_text(b"A\r\nB\r", "crlf") == "A\rB\r"
    assert speech.received_text(b"A\nB", "lf") == "A\rB"
    assert speech.received_text(b"\xc1\x8d", "cr") == "A\r"


def test_keys():
    assert speech.key_bytes("a9 \r", fold=True, high_bit=False) == b"A9 \r"
    assert speech.key_bytes("A\r", fold=False, high_bit=True) == b"\xc1\x8d"
    with pytest.raises(ValueError, match="no 7-bit character"):
        speech.key_bytes("Ä", fold=True, high_bit=False)
