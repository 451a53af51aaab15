"""What the monitor prints for what is typed: transcripts of both dialects, written by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formats.image import Range
from linktool import machine as profiles
from linktool.board import monitor, open_board
from linktool.board.board import Board
from linktool.errors import PortError
from linktool.machine import Machine, Reserved
from tests.board.typist import listen, type_keys

MEMORY = bytes.fromhex("A9 00 8D 12 34 56 78 9A 10 11 12 13 14 15 16 17 18 19")
DASH, DOT = "heron", "dot"
SIGNS = {DASH: ("-", "G", "?\r="), DOT: (".", "R", "\\\r")}


def board_of(name: str, **options: object) -> Board:
    board = open_board(f"board:machine={name}" + "".join(f",{key}={value}" for key, value in options.items()))
    listen(board)
    board.poke(0x0280, MEMORY)
    return board


# ---- what both dialects share ------------------------------------------------------------------------

# typed, printed after the line's own echo; R is the sign of a range, E the answer to a line that is refused
SHARED = [
    ("0280R028F\r", "0280: A9 00 8D 12 34 56 78 9A\r0288: 10 11 12 13 14 15 16 17\r"),
    ("280R283\r", "0280: A9 00 8D 12\r"),
    ("0283R0291\r", "0283: 12 34 56 78 9A\r0288: 10 11 12 13 14 15 16 17\r0290: 18 19\r"),
    ("0287R0288\r", "0287: 9A\r0288: 10\r"),
    ("0280\r", "0280: A9\r"),
    (" 280\r", "E"),
    ("77770280\r", "0280: A9\r"),
    ("0280R99990283\r", "0280: A9 00 8D 12\r"),
    ("0284R0282\r", "0284: 34\r"),
    ("FFFFRFFFF\r", "FFFF: FF\r"),
    ("FF0DRFF0F\r", "FF0D: 20 EF FF\r"),
    ("\r", ""),
    ("0280Z\r", "E"),
    ("0280R\r", "E"),
    ("0280R028FZ\r", "E"),
    ("R028F\r", "E"),
    ("0280 0290\r", "E"),
    ("0280R0282:12\r", "E"),
    ("280a\r", "E"),
    ("HELLO\r", "E"),
    ("@\r", "E"),
    ("/\r", "E"),
    ("::\r", "E"),
]


@pytest.mark.parametrize("name", [DASH, DOT])
@pytest.mark.parametrize(("typed", "answer"), SHARED)
def test_both_dialects_answer_the_same(name, typed, answer):
    between, _, error = SIGNS[name]
    typed = typed.replace("R", between)
    ready = "=" if name == DASH else ""
    expected = error if answer == "E" else answer.replace("R", between) + ready
    assert type_keys(board_of(name), typed) == typed + expected


@pytest.mark.parametrize(
    ("line", "first", "stored"),
    [
        ("0300:A9 0 8D 12 34 5\r", 0x0300, "A9 00 8D 12 34 05"),
        ("300:   1   2\r", 0x0300, "01 02"),
        ("300: 1 2  \r", 0x0300, "01 02"),
        ("9990300:123 4567\r", 0x0300, "23 67"),
        ("3FFF:77\r", 0x3FFF, "77"),
        ("2FE:1 2 3 4\r", 0x02FE, "01 02 03 04"),
        ("0:AB\r", 0x0000, "AB"),
    ],
)
@pytest.mark.parametrize("name", [DASH, DOT])
def test_a_deposit_goes_to_memory(name, line, first, stored):
    if name == DOT and first > 0x1FFF:
        line, first = line.replace("3FFF", "1FFF"), 0x1FFF
    board = board_of(name)
    board.poke(first, b"\x4c" * 8)
    printed = type_keys(board, line)
    answer = "=" if name == DASH else f"{first:04X}: 4C\r"
    assert printed == line + answer
    data = bytes.fromhex(stored)
    assert board.memory(first, first + len(data) - 1) == data
    if first + len(data) <= 0x1FFF:
        assert board.memory(first + len(data), first + len(data)) == b"\x4c"


@pytest.mark.parametrize("name", [DASH, DOT])
def test_a_line_that_begins_with_the_colon_goes_on_after_the_last_byte(name):
    board = board_of(name)
    type_keys(board, "03FE:1 2\r")
    ready = "=" if name == DASH else ""
    assert type_keys(board, ":3 4 5\r") == ":3 4 5\r" + ready
    assert type_keys(board, ": 6\r") == ": 6\r" + ready
    assert board.memory(0x03FE, 0x0403) == bytes([1, 2, 3, 4, 5, 6])


@pytest.mark.parametrize("between", ["12 34\x1b", "?\r", "_", "\r", ":\r", "G\r", "X" * 128])
@pytest.mark.parametrize("name", [DASH, DOT])
def test_the_place_to_go_on_survives_lines_that_came_to_nothing(name, between):
    board = board_of(name)
    type_keys(board, "0300:1 2\r")
    type_keys(board, between)
    type_keys(board, ":3\r")
    assert board.memory(0x0300, 0x0302) == bytes([1, 2, 3])


@pytest.mark.parametrize("name", [DASH, DOT])
def test_bytes_before_a_mistake_are_stored_and_the_line_is_refused(name):
    board = board_of(name)
    board.poke(0x0300, bytes(4))
    printed = type_keys(board, "0300:1 2 X 3\r")
    assert printed.endswith(SIGNS[name][2])
    assert board.memory(0x0300, 0x0303) == bytes([1, 2, 0, 0])


@pytest.mark.parametrize("name", [DASH, DOT])
def test_cancel_rubout_and_the_line_limit(name):
    cancelled = SIGNS[name][2]
    board = board_of(name)
    assert type_keys(board, "123\x1b") == "123" + cancelled
    assert type_keys(board, "\x1b") == cancelled
    assert type_keys(board, "_") == "_" + cancelled
    assert type_keys(board, "12__") == "12__"
    assert type_keys(board, "_") == "_" + cancelled
    ready = "=" if name == DASH else ""
    assert type_keys(board, "028X_1\r") == "028X_1\r0281: 00\r" + ready
    full = "0" * 123 + "0280"
    assert type_keys(board, full + "\r") == full + "\r0280: A9\r" + ready
    assert type_keys(board, full + "1") == full + "1" + cancelled
    assert type_keys(board, full + "_") == full + "_"
    assert type_keys(board, "0\r") == "0\r0280: A9\r" + ready


@pytest.mark.parametrize("name", [DASH, DOT])
def test_a_full_line_stays_within_its_buffer(name):
    board = board_of(name)
    type_keys(board, "Y" * 128)
    assert board.memory(0x0280, 0x0280 + len(MEMORY) - 1) == MEMORY


# ---- where they differ -------------------------------------------------------------------------------


def test_dash_at_reset_at_re_entry_and_at_a_break():
    board = open_board("board:machine=heron")
    assert listen(board) == "\r="
    board.reset()
    assert listen(board) == "\r="
    assert type_keys(board, "300:4C D FF\r") == "300:4C D FF\r="
    assert type_keys(board, "300G\r") == "300G\r\r="
    type_keys(board, "300:0\r")
    assert type_keys(board, "300G\r") == "300G\r?\r="


def test_dot_at_reset_at_re_entry_and_at_a_break():
    board = open_board("board:machine=dot")
    assert listen(board) == "\\\r"
    board.reset()
    assert listen(board) == "\\\r"
    board.poke(0x0300, b"\x11")
    assert type_keys(board, "300:4C D FF\r") == "300:4C D FF\r0300: 11\r"
    assert type_keys(board, "300R\r") == "300R\r0300: 4C\r"
    type_keys(board, "300:0\r")
    assert type_keys(board, "300R\r") == "300R\r0300: 00\\\r"


def test_dash_refuses_the_other_dialect_and_dot_too():
    assert type_keys(board_of(DASH), "0280.028F\r") == "0280.028F\r?\r="
    assert type_keys(board_of(DASH), "0280R\r") == "0280R\r?\r="
    assert type_keys(board_of(DOT), "0280-028F\r") == "0280-028F\r\\\r"
    assert type_keys(board_of(DOT), "0280G\r") == "0280G\r\\\r"


@pytest.mark.parametrize("name", [DASH, DOT])
def test_a_bare_run_letter_starts_nothing(name):
    board = board_of(name)
    run = SIGNS[name][1]
    assert type_keys(board, f"{run}\r") == f"{run}\r" + SIGNS[name][2]
    assert board.statistics().stopped == ""


# ---- what programs find ------------------------------------------------------------------------------


def program(board: Board, data: str, run: str) -> str:
    """Run a program at 0300; what it prints after the line that started it."""
    board.poke(0x0300, bytes.fromhex(data))
    line = f"300{run}\r"
    printed = type_keys(board, line)
    answer = "" if run == "G" else f"0300: {data[:2]}"
    assert printed.startswith(line + answer)
    return printed[len(line + answer) :]


@pytest.mark.parametrize("name", [DASH, DOT])
def test_char_out_prints_and_keeps_the_registers(name):
    board = board_of(name)
    # lda #41 / ldx #12 / ldy #34 / jsr char_out / sta 0,3 pages up / stx / sty / jmp monitor
    code = "A9 41 A2 12 A0 34 20 F1 FF 8D 80 03 8E 81 03 8C 82 03 4C 0D FF"
    assert program(board, code, SIGNS[name][1]) == ("A\r=" if name == DASH else "A\r")
    assert board.memory(0x0380, 0x0382) == bytes([0x41, 0x12, 0x34])


@pytest.mark.parametrize("name", [DASH, DOT])
def test_key_in_waits_without_echo_and_keeps_x_and_y(name):
    board = board_of(name)
    # ldx #12 / ldy #34 / jsr key_in / sta / stx / sty / jmp monitor
    code = "A2 12 A0 34 20 D4 FF 8D 80 03 8E 81 03 8C 82 03 4C 0D FF"
    assert program(board, code, SIGNS[name][1]) == ""
    board.write(b"\xc1")
    assert listen(board) == ("\r=" if name == DASH else "\r")
    assert board.memory(0x0380, 0x0382) == bytes([0x41, 0x12, 0x34])


@pytest.mark.parametrize("name", [DASH, DOT])
def test_re_entry_clears_decimal_mode_and_the_stack(name):
    board = board_of(name)
    program(board, "F8 A2 77 9A 4C 0D FF", SIGNS[name][1])  # sed / ldx #77 / txs / jmp monitor
    ready = "=" if name == DASH else ""
    assert type_keys(board, "280\r") == "280\r0280: A9\r" + ready
    core = board.processor.core
    assert not core.p & 0x08
    assert core.sp == 0xFE  # 0 less the return address of the routine that waits for a key


# ---- the image ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(monitor.SHIPPED))
def test_the_shipped_image_is_the_assembled_source_and_fits_256_bytes(name):
    data, labels = monitor.assemble(monitor.constants(*monitor.SHIPPED[name]))
    assert (monitor.FOLDER / f"monitor_{name}.bin").read_bytes() == data
    assert len(data) == 256
    machine = profiles.load(name)
    assert monitor.SHIPPED[name][0] == monitor.dialect_of(machine)
    assert {"monitor": labels["fresh"], "char_out": labels["out"], "key_in": labels["in"]} == {
        key: machine.symbols[key] for key in ("monitor", "char_out", "key_in")
    }
    assert monitor.rom_for(machine) == data


def moved() -> Machine:
    """A machine like the Heron with its registers and its workspace elsewhere."""
    heron = profiles.load("heron")
    areas = tuple(
        replace(area, range=Range(0xB000, 0xB003)) if area.kind == "io" else area for area in heron.areas
    )
    symbols = {name: value + 0x1100 if value >> 8 == 0x9F else value for name, value in heron.symbols.items()}
    reserved = tuple(
        Reserved("workspace", Range(0x40, 0x4F), "the monitor's") if area.name == "workspace" else area
        for area in heron.reserved
    )
    return replace(heron, name="moved", areas=areas, symbols=symbols, reserved=reserved)


def test_another_machine_of_a_known_dialect_gets_a_rom_of_its_own():
    board = Board(moved())
    assert listen(board) == "\r="
    board.poke(0x00F0, b"\x55" * 8)
    assert type_keys(board, "300:1 2\r") == "300:1 2\r="
    assert board.memory(0x00F0, 0x00F7) == b"\x55" * 8


def test_a_machine_no_monitor_fits_is_refused():
    heron = profiles.load("heron")
    strange = replace(heron, dialect=replace(heron.dialect, examine="D {first} {last}"))
    with pytest.raises(PortError, match=r"no monitor that takes 'D \{first\} \{last\}' \(machine heron\)"):
        Board(strange)
    with pytest.raises(PortError, match="does not say where key_status is"):
        Board(replace(heron, symbols={k: v for k, v in heron.symbols.items() if k != "key_status"}))
    with pytest.raises(PortError, match="keeps no page-zero workspace"):
        Board(replace(heron, reserved=()))
