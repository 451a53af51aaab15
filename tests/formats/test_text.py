from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.errors import FormatError
from formats.text import numbered_lines, shown


def lines(data: bytes | str) -> list[tuple[int, str]]:
    return list(numbered_lines(data, "a.hex", "Intel HEX records"))


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_every_line_end_is_taken_and_blank_lines_count(end: bytes):
    assert lines(end.join([b"one", b"", b"  two \t", b""])) == [(1, "one"), (3, "two")]


def test_old_end_of_file_padding_is_dropped():
    assert lines(b"one\r\n" + b"\x1a" * 100) == [(1, "one")]


def test_text_is_taken_as_well_as_bytes():
    assert lines("one\ntwo") == [(1, "one"), (2, "two")]


@pytest.mark.parametrize(
    "data, says",
    [
        (b"", "a.hex: the file is empty; expected Intel HEX records"),
        (b"\xef\xbb\xbf:00", "begins with a UTF-8 byte order mark"),
        (b"\xff\xfe:\x000\x00", "begins with UTF-16 text"),
        (b"\xfe\xff\x00:\x000", "begins with UTF-16 text"),
        (":00000001FF\n".encode("utf-16-le"), "looks like UTF-16 text"),
        (":00000001FF\n".encode("utf-16-be"), "looks like UTF-16 text"),
        (b":00\n:0\x000", "a.hex, line 2, column 3: byte 00, which is not plain text"),
        (b":00\n\x7fELF", "a.hex, line 2, column 1: byte 7F"),
        ("one\nzwölf".encode(), "a.hex, line 2, column 3: byte C3"),
        ("zw\udcffx", "byte ED"),
    ],
)
def test_what_is_not_plain_text_is_refused_with_its_place(data: bytes | str, says: str):
    with pytest.raises(FormatError) as caught:
        lines(data)
    assert says in str(caught.value)


@given(st.binary(max_size=200))
def test_any_bytes_give_lines_or_our_error(data: bytes):
    try:
        found = lines(data)
    except FormatError:
        return
    assert all(text == text.strip() and text.isascii() for _, text in found)


def test_text_in_messages_is_quoted_and_cut():
    assert shown("abc") == "'abc'"
    assert shown("x" * 50) == repr("x" * 29 + "...")
