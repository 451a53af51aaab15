"""Hex text: our rules. Dumps that other programs print are read in tests/outside/test_formats_dump.py."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formats import dump
from formats.errors import FormatError
from formats.image import Image
from tests.formats.images import images


def read(*lines: str) -> Image:
    reading = dump.read("\n".join(lines), "a.txt")
    assert reading.warnings == ()
    return reading.image


def refusal(*lines: str) -> str:
    with pytest.raises(FormatError) as caught:
        dump.read("\n".join(lines), "a.txt")
    assert caught.value.source == "a.txt"
    return str(caught.value)


def at(first: int, text: str) -> Image:
    return Image.from_bytes(first, bytes.fromhex(text))


@given(images)
@example(Image.from_bytes(0, bytes(range(256)) * 256))
@example(Image.from_bytes(0x300, b"0123456789ABCDEF 41 42 43 44"))
@example(Image.from_bytes(0x300, b"||>> <<##..  \x00\xff"))
def test_any_image_comes_back_without_its_start(image: Image):
    assert read(dump.write_lines(image)) == Image(image.segments)
    assert read(dump.write_dump(image)) == Image(image.segments)


def test_lines_are_written_by_eights_at_multiples_of_eight():
    assert dump.write_lines(Image.from_runs([(0x286, bytes(range(12))), (0x300, b"\xff")])) == (
        "0286: 00 01\n0288: 02 03 04 05 06 07 08 09\n0290: 0A 0B\n0300: FF\n"
    )


def test_dumps_are_written_by_sixteens_with_a_text_column():
    image = Image.from_bytes(0x28E, b"AB\x00" + bytes(range(0x71, 0x80)))
    assert dump.write_dump(image).splitlines() == [
        "028E  41 42                                             |AB|",
        "0290  00 71 72 73 74 75 76 77  78 79 7A 7B 7C 7D 7E 7F  |.qrstuvwxyz{|}~.|",
    ]


@pytest.mark.parametrize("write", [dump.write_lines, dump.write_dump])
def test_an_empty_image_is_refused(write):
    with pytest.raises(FormatError, match="the image is empty"):
        write(Image())


@pytest.mark.parametrize(
    "line",
    [
        "0300: A9 00 8D",
        "300:A9 0 8D",
        "0300:A9008D",
        "0300 : a9 00  8d",
        "00000300  a9 00 8d  |...|",
        "0300 A9 00 8D",
        "\t000300\ta9 00 8d ",
        "00000300: a900 8d                                  ...",
        "0300  A9 00 8D                                         ).",
        "0300: A9 00 8D  )..",
        "000300 a9 00 8d    >...<",
        "00000300: A9 00 8D    #...",
    ],
)
def test_one_row_in_many_layouts(line: str):
    assert read(line) == at(0x300, "A9008D")


def test_a_line_that_begins_with_the_colon_goes_on():
    assert read("0300: A9 00", ":8D", ": 10", "", ":  D0 60") == at(0x300, "A9008D10D060")
    assert read("0300:", ":A9", ":00") == at(0x300, "A900")
    assert refusal(": A9") == (
        "a.txt, line 1: a line with no address, and none before it; expected an address first"
    )


def test_rows_are_repeated_by_a_star_up_to_the_next_offset():
    image = read('00000300  11 22  |."|', "*", "00000308  33  |3|", "00000309")
    assert image == at(0x300, "112211221122112233")


def test_a_star_may_reach_the_end_of_memory():
    assert read("0000  00 00", "*", "10000") == Image.from_bytes(0, bytes(65536))


@pytest.mark.parametrize(
    "lines, says",
    [
        (("*",), "line 1: a *; expected a * only behind a row, once"),
        (("0300 11", "*", "*"), "line 3: a *; expected a * only behind a row, once"),
        (("0300 11", "*"), "line 2: a * with no offset after it"),
        (
            ("0300 11 22", "*", "0305"),
            "line 3: offset 0305 after a * that begins at 0302; expected a whole number",
        ),
        (("0300 11 22", "*", "0300 11"), "offset 0300 after a * that begins at 0302"),
        (("0300 11 22", "*", "20000"), "offset 20000 after a *"),
        (("0300 11 22", "*", ": 33"), "a line with no address after a *"),
        (("0300 11", "0302"), "line 2: the closing offset 0302, but the rows end before 0301"),
        (("0300",), "the closing offset 0300, but no row stands before it"),
        (
            ("0300 11", "0301", "0310 22"),
            "line 3: '0310 22' after the closing offset at line 2; expected nothing",
        ),
    ],
)
def test_stars_and_closing_offsets_must_fit(lines: tuple[str, ...], says: str):
    assert says in refusal(*lines)


@pytest.mark.parametrize(
    "line, says",
    [
        ("0300: A9 0O 8D", "line 1: '0O 8D'; expected two hex digits a byte"),
        ("0300: A9  O", "'O'; expected two hex digits a byte, or a text column that agrees with the bytes"),
        ("0300 A9 0 8D", "'0 8D'; expected two hex digits a byte"),
        ("0300: A9 000", "'000'; expected two hex digits a byte"),
        ("0300  A9 00  |A|", "'|A|'; expected two hex digits"),
        ("0300  A9 00  |...|", "'|...|'; expected two hex digits"),
        ("0300  41 42  BA", "could be"),
        ("300 A9", "'300 A9'; expected an address, then hex bytes"),
        ("LDA #0", "'LDA #0'; expected an address, then hex bytes"),
        ("10000: A9", "line 1: address 10000; expected an address within 0000-FFFF"),
        ("FFFF: A9 00", "line 1: it places bytes at FFFF-10000"),
        ("0300 a900 8d00", "words of more than two digits, and nothing tells the order of their bytes"),
        (
            "0300  41 42              43",
            "14 blanks where bytes may be left out; expected a row without holes",
        ),
        ("0300        41 42", "8 blanks where bytes may be left out"),
        ("0300: 34 31  41", "'41', which can be bytes as well as text; expected one blank between bytes"),
        ("0300: " + "A9 " * 400, "1205 characters; expected at most 1000 in a line"),
    ],
)
def test_a_wrong_row_is_refused_with_its_place(line: str, says: str):
    if says == "could be":
        assert read(line) == at(0x300, "4142BA")  # text that does not agree, but is hex, is bytes
    else:
        assert says in refusal(line)


def test_text_of_hex_digits_is_text_where_the_bytes_prove_it():
    assert read("0300  30 31 41 42  |01AB|") == at(0x300, "30314142")
    assert read("00000300: 3031 4142                                01AB") == at(0x300, "30314142")
    assert read("0300 30 31 32 33 34 35 36 37  38 39 41 42 43 44 45 46  0123456789ABCDEF") == at(
        0x300, "30313233343536373839414243444546"
    )


def test_the_top_bit_and_the_case_are_left_aside_in_text():
    assert read("0300  C8 45 4C  |HeL|") == at(0x300, "C8454C")


def test_the_same_byte_again_is_a_warning_and_another_value_an_error():
    assert dump.read("0300: 01\n0300: 01\n", "a.txt").warnings == (
        "a.txt, line 2: 0300 is given again, with the same value as at line 1",
    )
    assert "line 2: 0300 is 02 here and 01 at line 1" in refusal("0300: 01", "0300: 02")


@pytest.mark.parametrize("text", ["", "\n\n", "0300:", ":"])
def test_a_file_without_bytes_is_refused(text: str):
    with pytest.raises(FormatError):
        dump.read(text, "a.txt")


@given(st.sampled_from([dump.write_lines, dump.write_dump]), images, st.data())
def test_a_changed_file_is_read_or_refused_and_nothing_else(write, image: Image, data: st.DataObject):
    text = bytearray(write(image).encode())
    for _ in range(data.draw(st.integers(1, 3))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    try:
        dump.read(bytes(text), "a.txt")
    except FormatError as error:
        assert error.source == "a.txt"


@given(
    st.one_of(
        st.binary(max_size=300),
        st.text(max_size=100),
        st.text(alphabet="0123456789ABCDEFabcdef: \n*|><#.", max_size=200),
    )
)
def test_junk_is_read_or_refused_and_nothing_else(junk: bytes | str):
    try:
        dump.read(junk, "a.txt")
    except FormatError as error:
        assert error.source == "a.txt"


def test_what_it_looks_like():
    assert dump.looks_like_lines("0300: A9 00") and dump.looks_like_lines("300:a9")
    assert dump.looks_like_dump("00000300  a9 00  |..|") and dump.looks_like_dump("0300 A9")
    assert not dump.looks_like_lines("start: lda #0") and not dump.looks_like_dump("0300 LDA")
    assert not dump.looks_like_lines(":10030000") and not dump.looks_like_dump("S1130300")
