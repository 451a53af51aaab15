"""Faults of cells, chips and lines, on a whole board."""

from __future__ import annotations

import pytest

from linktool import machine as profiles
from linktool.board.board import Board
from tests.board.typist import listen, type_keys

HERON = profiles.load("heron")


def board_with(*specs: str, **options: object) -> Board:
    return Board(HERON, faults=list(specs), **options)  # type: ignore[arg-type]  # options of Board


def filled(board: Board, first: int, last: int, value: int) -> bytes:
    """What the addresses hold after `value` was written to each."""
    for address in range(first, last + 1):
        board.bus[address] = value
    return bytes(board.bus[address] for address in range(first, last + 1))


def test_stuck_bits_of_a_range():
    board = board_with("stuck:0380-0381:3:0", "stuck:0382:0:1")
    assert filled(board, 0x037F, 0x0383, 0xFF) == b"\xff\xf7\xf7\xff\xff"
    assert filled(board, 0x037F, 0x0383, 0x00) == b"\x00\x00\x00\x01\x00"


@pytest.mark.parametrize("value", [0, 1])
def test_stuck_bits_are_stuck_before_anything_is_written(value):
    board = board_with(f"stuck:0000-3FFF:5:{value}")
    assert {byte >> 5 & 1 for byte in board.memory(0, 0x3FFF)} == {value}


def test_a_stuck_chip_spoils_its_bit_in_its_own_bank_only():
    board = board_with("stuck-chip:k7:0")
    assert filled(board, 0x0FFF, 0x1000, 0xFF) == b"\xff\xf7"
    assert filled(board, 0x1FFF, 0x2000, 0xFF) == b"\xf7\xff"


def test_a_bit_that_cannot_rise_and_one_that_cannot_fall():
    board = board_with("transition:0380:0:up", "transition:0381:7:down")
    board.poke(0x0380, b"\x00\xff")
    board.bus.cells[0x0380] = 0xFF
    board.bus.cells[0x0381] = 0x00
    # a bit that is 1 stays 1 when 1 is written, falls, and does not rise again
    assert [filled(board, 0x0380, 0x0380, v) for v in (0xFF, 0xFE, 0xFF)] == [b"\xff", b"\xfe", b"\xfe"]
    assert [filled(board, 0x0381, 0x0381, v) for v in (0x00, 0x80, 0x00)] == [b"\x00", b"\x80", b"\x80"]


@pytest.mark.parametrize(
    ("spec", "reads"),
    [
        ("bits-shorted:0:4:0380-0380", [0x00, 0x00, 0x00, 0x11, 0x22]),
        ("bits-shorted:0:4:0380-0380:or", [0x00, 0x11, 0x11, 0x11, 0x22]),
    ],
)
def test_data_lines_that_touch(spec, reads):
    board = board_with(spec)
    written = [0x00, 0x01, 0x10, 0x11, 0x22]
    assert [filled(board, 0x0380, 0x0380, value)[0] for value in written] == reads
    assert filled(board, 0x0381, 0x0381, 0x01) == b"\x01"


def test_data_lines_that_touch_do_so_in_all_ram_if_no_range_is_given():
    board = board_with("bits-shorted:0:4:or")
    assert filled(board, 0x3FFF, 0x3FFF, 0x01) == b"\x11"
    assert board.memory(0xFFFC, 0xFFFD) == b"\x0d\xff"


def test_an_address_line_that_is_open():
    board = board_with("address-open:1:0:1000-1FFF")
    board.poke(0x1000, b"ABCD")
    assert board.memory(0x1000, 0x1003) == b"CDCD"
    board.poke(0x0380, b"ABCD")
    assert board.memory(0x0380, 0x0383) == b"ABCD"
    ones = board_with("address-open:0:1:1000-1FFF")
    ones.poke(0x1000, b"AB")
    assert ones.memory(0x1000, 0x1001) == b"BB"


def test_address_lines_that_touch():
    board = board_with("address-shorted:0:1:1000-1FFF")
    board.poke(0x1000, b"ABCD")
    assert board.memory(0x1000, 0x1003) == b"CCCD"  # and: 0, 1 and 2 all reach 0
    joined = board_with("address-shorted:0:1:1000-1FFF:or")
    joined.poke(0x1000, b"ABCD")
    assert joined.memory(0x1000, 0x1003) == b"ADDD"


def test_a_bank_that_is_not_there():
    board = board_with("bank-missing:1000-1FFF")
    assert filled(board, 0x1000, 0x1001, 0x55) == b"\x10\x10"
    assert filled(board, 0x0FFF, 0x0FFF, 0x55) == b"\x55"
    assert board.memory(0x1234, 0x1234) == b"\x12"


def test_a_range_that_shows_another_ones_cells():
    board = board_with("mirror:0800-0BFF:2000-2FFF")
    board.poke(0x0810, b"AB")
    assert board.memory(0x2010, 0x2011) == board.memory(0x2C10, 0x2C11) == b"AB"
    board.poke(0x2411, b"Z")
    assert board.memory(0x0810, 0x0811) == b"AZ"


def test_a_bit_that_now_and_then_reads_wrong():
    board = board_with("unsteady:0380:2:0.25")
    board.poke(0x0380, b"\x00")
    reads = [board.bus[0x0380] for _ in range(2000)]
    assert set(reads) == {0x00, 0x04}
    assert 0.2 < reads.count(0x04) / 2000 < 0.3
    assert board.memory(0x0380, 0x0380) == b"\x00"
    assert [board_with("unsteady:0380:2:0.25").bus[0x0380] for _ in range(3)] == [
        board_with("unsteady:0380:2:0.25").bus[0x0380] for _ in range(3)
    ]


def test_cells_that_forget():
    board = board_with("forgets:0380-0381:2.5", "forgets:0390:1s:FF")
    board.poke(0x0380, b"\x55\x66\x77")
    board.poke(0x0390, b"\x11")
    board.read(0.1)
    board.read(0.9)
    assert board.memory(0x0380, 0x0382) + board.memory(0x0390, 0x0390) == b"\x55\x66\x77\x11"
    board.read(2.4)
    assert board.memory(0x0380, 0x0382) + board.memory(0x0390, 0x0390) == b"\x55\x66\x77\xff"
    board.poke(0x0381, b"\x67")
    board.read(2.6)
    assert board.memory(0x0380, 0x0382) == b"\x00\x67\x77"
    board.read(5.0)
    assert board.memory(0x0380, 0x0382) == b"\x00\x00\x77"


def test_a_program_that_waits_for_a_cell_to_forget_sees_it_in_time():
    """The wait polls the keyboard too; it must not be skipped past the moment."""
    board = board_with("forgets:0380:0.5")
    # lda key_status / lda 0380 / bne to the start / lda #"F" / jsr char_out / jmp to itself
    board.poke(0x0300, bytes.fromhex("AD 01 9F AD 80 03 D0 F8 A9 46 20 F1 FF 4C 0D 03"))
    board.poke(0x0380, b"\x01")
    board.processor.core.pc = 0x0300
    assert board.read(2.0) == b"F"
    assert 0.5 < board.now() < 0.51


@pytest.mark.parametrize(
    ("spec", "aggressor", "victim"),
    [
        # aggressor bit 0 of 0380, victim bit 7 of 0490: values of the aggressor, then of the victim
        ("coupling:in:0380.0:up:0490.7", [0, 1, 1, 0, 1], [0x80, 0, 0, 0, 0x80]),
        ("coupling:in:0380.0:down:0490.7", [0, 1, 0, 1, 0], [0x80, 0x80, 0, 0, 0x80]),
        ("coupling:id:0380.0:up:0490.7:0", [0, 1, 0, 1], [0x80, 0, 0, 0]),
        ("coupling:id:0380.0:down:0490.7:0", [1, 1, 0, 1], [0x80, 0x80, 0, 0]),
        ("coupling:st:0380.0:1:0490.7:0", [0, 0, 1, 0], [0x80, 0x80, 0, 0]),
        ("coupling:st:0380.0:0:0490.7:0", [1, 0, 1], [0x80, 0, 0]),
    ],
)
def test_one_bit_disturbs_another(spec, aggressor, victim):
    board = board_with(spec)
    board.bus[0x0380] = aggressor[0]
    board.bus[0x0490] = 0xFF
    for value, expected in zip(aggressor, victim, strict=True):
        board.bus[0x0380] = value
        assert board.bus[0x0490] & 0x80 == expected
    assert board.bus[0x0490] & 0x7F == 0x7F


def test_a_state_that_forces_holds_against_a_write_to_the_victim():
    board = board_with("coupling:st:0380.0:1:0490.7:0")
    board.bus[0x0380] = 1
    assert filled(board, 0x0490, 0x0490, 0xFF) == b"\x7f"
    board.bus[0x0380] = 0
    assert filled(board, 0x0490, 0x0490, 0xFF) == b"\xff"


def test_bits_of_one_byte_disturb_each_other():
    board = board_with("coupling:id:0380.0:up:0380.1:1")
    assert filled(board, 0x0380, 0x0380, 0x00) == b"\x00"
    assert filled(board, 0x0380, 0x0380, 0x01) == b"\x03"


def test_a_rom_byte_that_reads_wrong():
    board = board_with("rom-bad:FF0A:A2")
    assert board.memory(0xFF0A, 0xFF0A) == b"\xa2"
    clean = board_with().memory(0xFF00, 0xFFFF)
    assert [at for at, byte in enumerate(board.memory(0xFF00, 0xFFFF)) if byte != clean[at]] == [0x0A]


def test_faults_act_on_the_processors_own_work():
    """Where the line buffer is bad, the key that ends a line is not found in it again."""
    board = board_with("stuck:0200-027F:0:0")
    listen(board)
    assert type_keys(board, "0281\r") == "0281\r?\r="
    entered = board_with("stuck-chip:K7:0")
    listen(entered)
    type_keys(entered, "1002:BD FF\r")
    assert type_keys(entered, "1002-1003\r").endswith("\r1002: B5 F7\r=")


def test_faults_add_up_in_their_order():
    board = board_with("mirror:1000-1FFF:2000-2FFF", "stuck-chip:K7:0")
    assert filled(board, 0x2000, 0x2000, 0xFF) == b"\xf7"
