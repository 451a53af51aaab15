from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.errors import FormatError
from formats.source_lines import source_lines, without_comment


def test_lines_keep_their_numbers_and_blanks():
    assert source_lines(b"a:\tlda #1\r\n\r\n  rts\r", "a.s") == ["a:\tlda #1", "", "  rts", ""]


def test_other_letters_are_taken_in_comments_only():
    assert source_lines("lda #1 ; größer\n".encode(), "a.s") == ["lda #1 ", ""]
    for line in ('.byte "größer"', "lda größe ; größe", '.byte ";ö"', '.byte "\\";ö"'):
        with pytest.raises(FormatError, match=r"a\.s, line 1: the character '.'; expected ASCII, except in"):
            source_lines(line.encode(), "a.s")


@pytest.mark.parametrize(
    "data, says",
    [
        (b"", "the file is empty"),
        (b"\xef\xbb\xbflda", "begins with a UTF-8 byte order mark"),
        (b"rts\n\xfcber", "a.s, line 2: byte FC, which is not UTF-8 text"),
        (b"rts\nlda \x00", "a.s, line 2: the character '\\x00'"),
    ],
)
def test_what_is_no_source_is_refused(data: bytes, says: str):
    with pytest.raises(FormatError) as caught:
        source_lines(data, "a.s")
    assert says in str(caught.value)


def test_where_a_comment_begins():
    assert without_comment('.byte "a;b", 1 ; c') == '.byte "a;b", 1 '
    assert without_comment('.byte "\\";" ; c') == '.byte "\\";" '
    assert without_comment("rts") == "rts"


@given(st.binary(max_size=200))
def test_any_bytes_give_lines_or_our_error(data: bytes):
    try:
        lines = source_lines(data, "a.s")
    except FormatError:
        return
    assert all(line.isascii() for line in lines)
