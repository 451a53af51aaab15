"""The characters program prints the printing characters of columns 2 to 5 of the ASCII code table.

Source: RFC 20 (STD 80), V. Cerf, "ASCII format for Network Interchange", 16 October 1969: code table,
columns 2 to 5 (space, ! to /, 0 to 9, : to ?, @, A to Z, [ \\ ] ^ _), copied below row by row.
"""

from __future__ import annotations

from linktool import library, machine
from tests.programs.rig import Rig

# One row of the table a line: columns 2, 3, 4, 5.
TABLE = r"""
SP 0 @ P
! 1 A Q
" 2 B R
# 3 C S
$ 4 D T
% 5 E U
& 6 F V
' 7 G W
( 8 H X
) 9 I Y
* : J Z
+ ; K [
, < L \
- = M ]
. > N ^
/ ? O _
"""


def test_the_set_is_the_table_s_column_by_column() -> None:
    rows = [line.split(" ") for line in TABLE.strip().split("\n")]
    assert [len(row) for row in rows] == [4] * 16
    characters = "".join(row[column] for column in range(4) for row in rows).replace("SP", " ")
    assert len(characters) == 64
    built = library.build(library.load("characters"), machine.load("heron"), parameters={"turns": 2})
    text = Rig(built.machine).run(built)
    assert text == "\n" + characters * 2
    assert library.judge(built, text).ok


def test_no_program_prints_anything_else() -> None:
    """Every text a description expects keeps to that table."""
    for name in library.available():
        built = library.build(library.load(name), machine.load("heron"))
        text = "".join(library.expected_screen(built))
        assert set(text) <= set(map(chr, range(0x20, 0x60)))
