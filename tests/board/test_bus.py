"""What the processor meets at an address: RAM, ROM, registers, holes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linktool.board import open_board
from linktool.board.board import Board
from tests.board.typist import listen


def test_rom_and_holes_take_no_writes_and_holes_float():
    board = open_board("board:")
    for address in (0x4000, 0x9EFF, 0xFEFF, 0xFF00):
        before = board.bus[address]
        board.bus[address] = before ^ 0xFF
        assert board.bus[address] == before
    assert board.bus[0x4000] == 0x40
    assert board.bus[0x9EFF] == 0x9E
    assert board.memory(0x4000, 0x4001) == b"\x40\x40"


def test_a_program_finds_the_high_byte_of_the_address_in_a_hole():
    board = open_board("board:")
    board.poke(0x0300, bytes.fromhex("AD 34 52 8D 80 03 A0 10 B1 20 8D 81 03 4C 0D 03"))
    board.poke(0x0020, bytes.fromhex("05 61"))
    board.processor.core.pc = 0x0300
    board.read(0.001)
    assert board.memory(0x0380, 0x0381) == b"\x52\x61"


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 0x3FFF), st.integers(0, 0xFF)), max_size=40))
def test_ram_keeps_what_is_written_and_nothing_else_moves(writes):
    board = open_board("board:")
    model = bytearray(board.memory(0, 0x3FFF))
    for address, value in writes:
        board.bus[address] = value
        model[address] = value
        assert board.bus[address] == value
    assert board.memory(0, 0x3FFF) == model


def test_looking_at_memory_touches_no_register():
    board = open_board("board:latency=0")
    board.read(0.5)
    board.write(b"A")
    board.processor.core.pc = 0x0300
    board.poke(0x0300, b"\x4c\x00\x03")
    board.read(0.6)
    board.memory(0x9F00, 0x9F03)
    board.poke(0x9F00, b"XXXX")
    assert board.statistics().keys_taken == 0
    assert board.bus[0x9F01] == 0x80
    assert board.bus[0x9F00] == 0x41
    assert board.bus[0x9F01] == 0x00
    assert board.bus[0x9F00] == 0x41


def test_what_power_up_leaves_in_ram_depends_on_the_seed_alone():
    def ram(url: str) -> bytes:
        return open_board(url).memory(0, 0x3FFF)

    assert ram("board:") == ram("board:seed=1") != ram("board:seed=2")
    assert len(set(ram("board:"))) == 256


@pytest.mark.parametrize("same", [True, False])
def test_display_registers_may_share_an_address(same):
    board: Board = open_board("board:machine=dot" if same else "board:")
    status, data = (0xA802, 0xA802) if same else (0x9F03, 0x9F02)
    listen(board)
    assert board.bus[status] == 0
    board.bus[data] = 0x41
    assert board.bus[status] == 0x80
    if not same:
        assert board.bus[data] == 0x9F  # only written
