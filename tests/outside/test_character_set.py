"""The 64-character set and folding, held against RFC 20 (V. Cerf, 1969; USAS X3.4-1968)."""

from __future__ import annotations

from linktool.dialect import key_bytes, printable

# Columns 2 to 5 of the code table printed in RFC 20, section 2: 2/0 SP to 5/15 underline.
RFC_20_COLUMNS_2_TO_5 = (
    " !\"#$%&'()*+,-./"
    "0123456789:;<=>?"
    "@ABCDEFGHIJKLMNO"
    "PQRSTUVWXYZ[\\]^_"
)  # fmt: skip


def test_exactly_the_64_characters_are_shown_as_they_are():
    kept = [character for character in map(chr, range(128)) if printable(character) == character]
    kept = [character for character in kept if character not in "\r\n."]
    assert sorted([*kept, "."]) == sorted(RFC_20_COLUMNS_2_TO_5)
    assert len(RFC_20_COLUMNS_2_TO_5) == 64


def test_letters_fold_by_clearing_bit_5():
    # RFC 20's table: columns 6 and 7 hold the lower-case letters of columns 4 and 5.
    for code in range(0x61, 0x7B):
        assert key_bytes(chr(code), fold=True, high_bit=False) == bytes([code & 0x5F])
    for code in (0x60, 0x7B, 0x7C, 0x7D, 0x7E):
        assert key_bytes(chr(code), fold=True, high_bit=False) == bytes([code])
