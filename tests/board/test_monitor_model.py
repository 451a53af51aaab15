"""The monitor against a model of its grammar, written apart from it: any lines, what they print and store."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linktool.board import open_board
from tests.board.typist import listen, type_keys

FIRST, LAST = 0x0280, 0x3FFF
HEX = re.compile(r"[0-9A-F]+")


@dataclass
class Model:
    """One dialect's monitor: `answer` gives what is printed after a line and its end key."""

    between: str
    run: str
    error: str
    prompt: str
    memory: bytearray
    writable: range
    place: int = 0

    def byte(self, address: int) -> str:
        return f"{self.memory[address]:02X}"

    def rows(self, first: int, last: int) -> str:
        text = ""
        for address in range(first, max(first, last) + 1):
            if address == first or address % 8 == 0:
                text += ("\r" if text else "") + f"{address:04X}:"
            text += " " + self.byte(address)
        return text + "\r"

    def deposit(self, text: str) -> bool:
        """Store the bytes of a list; whether it is one to its end."""
        while text := text.lstrip(" "):
            found = HEX.match(text)
            if not found:
                return False
            if self.place in self.writable:
                self.memory[self.place] = int(found[0], 16) & 0xFF
            self.place += 1
            text = text[found.end() :]
        return True

    def answer(self, line: str) -> str:
        refused = self.error + "\r" + self.prompt
        found = HEX.match(line)
        if not found:
            if line.startswith(":"):
                return self.prompt if self.deposit(line[1:]) else refused
            return refused if line else self.prompt
        self.place = int(found[0], 16) & 0xFFFF
        sign, rest = line[found.end() : found.end() + 1], line[found.end() + 1 :]
        if sign == ":":
            told = "" if self.prompt else self.rows(self.place, self.place)
            return told + (self.prompt if self.deposit(rest) else refused)
        if sign == self.between and HEX.fullmatch(rest):
            first, last = self.place, int(rest, 16) & 0xFFFF
            self.place = max(first, last)
            return self.rows(first, last) + self.prompt
        return refused if sign else self.rows(self.place, self.place) + self.prompt


def lines(between: str) -> st.SearchStrategy[str]:
    """Lines that are right, nearly right and wrong, all of them within plain RAM; none runs a program."""
    addresses = st.builds(
        lambda address, zeros: "0" * zeros + f"{address:X}", st.integers(0x0280, 0x3F00), st.integers(0, 2)
    )
    blanks = st.text(" ", max_size=3)
    byte = st.builds(lambda value, gap: f"{value:X} {gap}", st.integers(0, 0xFFF), blanks)
    data = st.lists(byte, max_size=12).map("".join)
    stray = st.text("0123456789ABCDEFZ@/ :;-._a\\", max_size=3)
    deposit = st.builds(lambda a, gap, d, s: f"{a}:{gap}{d}{s}", addresses, blanks, data, st.just("") | stray)
    more = st.builds(lambda d, s: f":{d}{s}", data, st.just("") | stray)
    examine = st.builds(
        lambda a, length, s: f"{a:X}{between}{a + length:X}{s}",
        st.integers(0x0280, 0x3F00),
        st.integers(-2, 40),
        st.just("") | st.text("Z:@ ", max_size=1),
    )
    single = st.builds(lambda a, s: a + s, addresses, st.just("") | st.text("Z@; ", max_size=2))
    wrong = st.text(":;<=>?@[\\]^GHR !/~`agf", max_size=6).filter(lambda text: not text.startswith(":"))
    return st.one_of(deposit, more, examine, single, wrong)


@pytest.mark.parametrize(
    ("name", "model"), [("heron", ("-", "G", "?", "=")), ("dot", (".", "R", "\\", ""))], ids=["dash", "dot"]
)
@settings(max_examples=30, deadline=None, derandomize=True)
@given(data=st.data())
def test_any_lines_print_and_store_what_the_grammar_says(name, model, data):
    board = open_board(f"board:machine={name},display=2000,rate=38400,latency=0.0001")
    listen(board)
    last = LAST if name == "heron" else 0x1FFF
    monitor = Model(*model, bytearray(board.memory(0, 0xFFFF)), range(FIRST, last + 1))
    type_keys(board, "300:0\r", 0.05)
    monitor.answer("300:0")
    for line in data.draw(st.lists(lines(model[0]).filter(lambda line: "_" not in line and len(line) < 128))):
        expected = line + "\r" + monitor.answer(line)
        assert type_keys(board, line + "\r", 0.05) == expected
    assert board.memory(FIRST, last) == monitor.memory[FIRST : last + 1]
