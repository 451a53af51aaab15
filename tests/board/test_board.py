"""The board as a port: its clock, its timing, other ROMs, cutting and restoring the link."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from formats import assembly
from formats.image import Image
from linktool import machine as profiles
from linktool.board import open_board
from linktool.board.adapter import wire_of
from linktool.board.board import Board
from linktool.errors import PortError, PortLost
from tests.board.typist import listen, type_keys

HERON = profiles.load("heron")
CHARACTER_S = 10 / 2400


def ready(url: str = "board:") -> Board:
    board = open_board(url)
    listen(board)
    return board


# ---- the clock ---------------------------------------------------------------------------------------


def test_time_passes_in_read_only_and_as_far_as_asked():
    board = ready()
    start = board.now()
    board.write(b"A")
    assert board.now() == start
    assert board.read(start - 5.0) == b""
    assert board.now() == start
    assert board.read(start + 1.0) == b"A"
    assert start < board.now() < start + 0.1
    assert board.read(board.now() + 2.5) == b""
    assert board.now() == pytest.approx(start + 2.5, abs=0.1)


def test_a_read_gives_everything_that_has_arrived_by_then():
    board = ready("board:display=1000,rate=300,latency=0")
    board.write(b"280\r")
    first = board.read(board.now() + 1)
    assert first == b"2"
    after = board.now()
    while board.read(board.now() + 1):
        pass
    assert board.now() > after


def test_an_echo_comes_after_both_latencies_and_both_character_times():
    board = ready("board:latency=0.016")
    start = board.now()
    board.write(b"A")
    assert board.read(start + 1) == b"A"
    way = 2 * (0.016 + CHARACTER_S)
    # and the handful of instructions between the key and the display
    assert way < board.now() - start < way + 0.0001


def test_the_display_takes_sixty_characters_a_second():
    board = ready("board:rate=9600")
    type_keys(board, "0:0\r")
    for key in "0-3F":
        board.write(key.encode())
        board.read(board.now() + 1)
    board.write(b"\r")
    times = []
    while board.read(board.now() + 1):
        times.append(board.now())
    assert len(times) == 1 + 8 * 30 + 1
    gaps = [later - earlier for earlier, later in pairwise(times)]
    assert min(gaps) >= 1 / 60 - 1e-9
    # The processor looks at the display every few cycles and then writes: less than 20 of them late.
    assert max(gaps) < 1 / 60 + 20e-6
    assert (len(times) - 1) / (times[-1] - times[0]) == pytest.approx(60, rel=0.001)


def test_a_longest_line_is_parsed_while_the_display_shows_its_end():
    board = ready("board:rate=9600")
    line = "0300:" + " ".join(["AB"] * 40)
    type_keys(board, line)
    board.write(b"\r")
    assert board.read(board.now() + 1) == b"\r"
    echoed = board.now()
    assert board.read(board.now() + 1) == b"="
    assert board.now() - echoed < 1 / 60 + 20e-6
    assert board.memory(0x0300, 0x0327) == b"\xab" * 40


def test_keys_closer_than_the_processor_takes_them_overrun_the_register():
    board = ready("board:rate=9600")
    board.write(b"123456")
    heard = listen(board)
    facts = board.statistics()
    # 1 is shown at once, 2 is in the processor's hand until the display is free, 6 is in the register
    assert heard == "126"
    assert (facts.keys_sent, facts.keys_arrived, facts.keys_taken, facts.overruns) == (6, 6, 3, 3)


def test_one_key_may_wait_while_the_display_is_busy():
    board = ready("board:rate=9600")
    board.write(b"12")
    assert listen(board) == "12"
    assert board.statistics().overruns == 0


def test_a_program_that_does_not_wait_loses_characters():
    board = ready()
    board.poke(0x0300, bytes.fromhex("A9 41 8D 02 9F A9 42 8D 02 9F 4C 0A 03"))
    assert type_keys(board, "300G\r") == "300G\r"
    # the display still shows the end of the line when the program starts: both are lost
    assert board.statistics().prints_lost == 2


def test_statistics_of_a_short_session():
    board = ready()
    type_keys(board, "280\r")
    facts = board.statistics()
    assert (facts.keys_sent, facts.keys_lost, facts.keys_arrived, facts.keys_taken) == (4, 0, 4, 4)
    assert (facts.overruns, facts.printed, facts.prints_lost, facts.stopped) == (0, 2 + 4 + 9 + 1, 0, "")
    assert 0 < facts.skipped < facts.cycles


# ---- the link ----------------------------------------------------------------------------------------


def test_a_cut_link_loses_what_is_under_way_and_may_be_restored():
    board = ready()
    board.write(b"A")
    board.cut()
    with pytest.raises(PortLost, match="board:: the link is cut"):
        board.read(board.now() + 1)
    with pytest.raises(PortLost):
        board.write(b"B")
    board.restore()
    assert board.read(board.now() + 1) == b""
    assert type_keys(board, "C") == "C"
    assert board.statistics().keys_taken == 1


def test_a_closed_port_is_lost_and_its_memory_still_there():
    board = ready()
    board.poke(0x0300, b"\x12\x34")
    board.close()
    board.close()
    with pytest.raises(PortLost, match="is closed"):
        board.read(1.0)
    with pytest.raises(PortLost, match="is closed"):
        board.write(b"A")
    assert board.memory(0x0300, 0x0301) == b"\x12\x34"


def test_a_reset_leaves_ram_as_it_is():
    board = ready()
    board.poke(0x0300, b"\x12")
    type_keys(board, "123")
    board.reset()
    assert listen(board) == "\r="
    assert board.memory(0x0300, 0x0300) == b"\x12"


# ---- other ROMs --------------------------------------------------------------------------------------

ECHO = b"""
        .org $ff80
start:  lda key_status
        bpl start
        lda key_data
loop:   bit display_status
        bmi loop
        sta display_data
        jmp start
        .advance $fffa
        .word start, start, start
"""


def echo_rom() -> Image:
    from formats.reading import ReadOptions

    return assembly.read(ECHO, "echo.s", ReadOptions(symbols=HERON.symbols)).image


def test_a_rom_of_ones_own_as_image_or_as_bytes_that_end_at_the_top():
    data = echo_rom().segments[0].data
    strange = replace(HERON, dialect=replace(HERON.dialect, examine="D {first} {last}"))
    for rom in (echo_rom(), data):
        board = Board(strange, rom=rom, wire=wire_of(strange, latency_s=0.001))
        assert board.read(0.5) == b""
        assert type_keys(board, "hi\r") == "hi\r"
        assert board.memory(0xFF00, 0xFF00) == b"\xff"


def test_a_rom_that_does_not_fit_is_refused():
    with pytest.raises(PortError, match="a ROM of 257 bytes does not fit FF00-FFFF"):
        Board(HERON, rom=bytes(257))
    with pytest.raises(PortError, match="a byte at 0280, where the machine has no ROM"):
        Board(HERON, rom=Image.from_bytes(0x0280, b"\x00"))
    no_rom = replace(HERON, areas=tuple(area for area in HERON.areas if area.kind != "rom"))
    with pytest.raises(PortError, match="has no ROM at the reset vector"):
        Board(no_rom)


def test_the_clock_and_the_display_may_be_others():
    board = Board(HERON, clock_hz=2_000_000, display_cps=30)
    listen(board)
    start, cycles = board.now(), board.processor.cycles
    board.read(start + 1)
    assert board.processor.cycles - cycles == pytest.approx(2_000_000, abs=20)
    assert board.display.busy_cycles == pytest.approx(2_000_000 / 30)
