"""The model of the screen, against a second one written differently, and against the character set."""

from __future__ import annotations

import time

from hypothesis import given
from hypothesis import strategies as st

from linktool.screen import Screen, framed


class Grid:
    """The same rules in the plainest way: a grid of cells, a cursor, one character at a time."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self.cells = [[" "] * columns for _ in range(rows)]
        self.row = self.column = 0

    def new_line(self) -> None:
        self.column = 0
        self.row += 1
        if self.row == self.rows:
            self.cells = [*self.cells[1:], [" "] * self.columns]
            self.row -= 1

    def show(self, character: str) -> None:
        if character == "\r":
            self.new_line()
            return
        self.cells[self.row][self.column] = character
        self.column += 1
        if self.column == self.columns:
            self.new_line()


@given(
    st.integers(1, 9),
    st.integers(1, 5),
    st.lists(st.text(alphabet="AB\r", max_size=40), max_size=6),
)
def test_any_text_in_any_pieces_shows_as_on_a_grid_of_cells(columns, rows, pieces):
    screen, grid = Screen(columns, rows), Grid(columns, rows)
    for piece in pieces:
        screen.put(piece)
        for character in piece:
            grid.show(character)
    assert list(screen.lines()) == ["".join(row) for row in grid.cells]
    assert screen.cursor == (grid.row, grid.column)


def test_only_the_64_characters_are_shown():
    # The 64-character set: columns 2 to 5 of the code table (RFC 20). Lower case is shown as upper case;
    # control characters are not shown and do not move the cursor (common practice).
    screen = Screen(80, 2)
    screen.feed("".join(chr(code) for code in range(128) if code != 0x0D))
    upper = "".join(chr(code) for code in range(0x20, 0x60)) + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    assert "".join(screen.lines()).rstrip() == upper[:80] + upper[80:]
    assert screen.received == 127


def test_a_full_row_is_followed_by_a_new_one():
    screen = Screen(4, 3)
    screen.feed("ABCD")
    assert screen.cursor == (1, 0)
    screen.feed("\rE")
    assert screen.lines() == ("ABCD", "    ", "E   ")


def test_a_megabyte_at_once_is_taken_in_a_moment():
    screen = Screen()
    began = time.perf_counter()
    screen.feed("\x1b[2JNOISE" * 125_000)
    screen.feed("LINE\r" * 200_000)
    assert time.perf_counter() - began < 20.0  # some 0.1 s on the slowest machine it was tried on
    assert screen.lines()[-2] == "LINE".ljust(40)


def test_the_frame_holds_every_row():
    assert framed(["AB", "C"], 3) == ("+---+", "|AB |", "|C  |", "+---+")
