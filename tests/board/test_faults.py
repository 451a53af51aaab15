"""Every fault of the table acts as it says, on a whole board where that shows it best."""

from __future__ import annotations

import pytest

from linktool import machine as profiles
from linktool.board import faults as table
from linktool.board import open_board
from linktool.board.board import Board
from linktool.errors import PortLost, UsageError
from tests.board.typist import listen, type_keys

HERON = profiles.load("heron")


def board_with(*specs: str, **options: object) -> Board:
    return Board(HERON, faults=list(specs), **options)  # type: ignore[arg-type]  # options of Board


def filled(board: Board, first: int, last: int, value: int) -> bytes:
    """What the addresses hold after `value` was written to each."""
    for address in range(first, last + 1):
        board.bus[address] = value
    return bytes(board.bus[address] for address in range(first, last + 1))


# ---- cells and chips ---------------------------------------------------------------------------------


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


# ---- the wire ----------------------------------------------------------------------------------------


def test_lost_keys_never_come_and_doubled_ones_come_twice():
    lost = board_with("keys-lost:1")
    listen(lost)
    assert type_keys(lost, "ABC") == ""
    assert lost.statistics().keys_lost == 3
    doubled = board_with("keys-doubled:1", display_cps=1000)
    listen(doubled)
    assert type_keys(doubled, "AB") == "AABB"


def test_changed_keys_and_prints_differ_in_one_bit():
    keys = board_with("keys-changed:1")
    listen(keys)
    heard = type_keys(keys, "XXXXXXXX")
    assert len(heard) == 8
    assert all((ord(code) ^ ord("X")).bit_count() == 1 for code in heard if code not in "?\r=")
    prints = board_with("prints-changed:1")
    assert [(a ^ b).bit_count() for a, b in zip(listen(prints).encode(), b"\r=", strict=True)] == [1, 1]


def test_lost_and_doubled_prints():
    assert listen(board_with("prints-lost:1")) == ""
    assert board_with("prints-lost:1").statistics().printed == 0
    assert listen(board_with("prints-doubled:1")) == "\r\r=="


def test_a_burst_makes_bytes_late():
    board = board_with("latency-burst:0.5:1")
    assert board.read(2.0) == b"\r"
    assert 0.5 < board.now() < 0.6


# ---- moments -----------------------------------------------------------------------------------------


def test_the_reset_key_at_a_time_and_after_keys():
    board = board_with("reset-at:1.5s")
    assert listen(board) == "\r="
    assert type_keys(board, "0300:4") == "0300:4"
    assert board.read(2.0) == b"\r"
    assert 1.5 < board.now() < 1.52
    assert board.read(2.0) == b"="
    keyed = board_with("reset-at:3")
    listen(keyed)
    assert type_keys(keyed, "12") == "12"
    assert type_keys(keyed, "3") == "\r=3"
    assert type_keys(keyed, "45") == "45"
    assert keyed.statistics().keys_sent == 5


def test_the_link_goes_dead_at_a_time_and_after_keys():
    board = board_with("cut-at:0.5s")
    assert listen(board) == "\r="
    board.write(b"A")
    assert board.read(1.0) == b"A"
    with pytest.raises(PortLost, match="the link is cut"):
        board.read(1.0)
    assert board.now() == 0.5
    with pytest.raises(PortLost, match="the link is cut"):
        board.write(b"B")
    keyed = board_with("cut-at:2")
    listen(keyed)
    assert type_keys(keyed, "1") == "1"
    keyed.write(b"2")
    with pytest.raises(PortLost):
        keyed.read(2.0)
    keyed.restore()
    assert keyed.read(keyed.now() + 1.0) == b""
    assert type_keys(keyed, "3") == "3"


# ---- the table and its specs -------------------------------------------------------------------------

GOOD = [
    "keys-lost:0.01",
    "keys-doubled:0.5",
    "keys-changed:1",
    "prints-lost:0",
    "prints-doubled:.1",
    "prints-changed:1e-3",
    "latency-burst:0.2s:0.1",
    "stuck:0280:3:0",
    "stuck-chip:J10:1",
    "transition:0280-02FF:0:down",
    "bits-shorted:0:7",
    "bits-shorted:0:7:1000-1FFF:or",
    "address-open:10:1",
    "address-shorted:0:11:or",
    "bank-missing:3000-3FFF",
    "mirror:0000-0FFF:1000-1FFF",
    "unsteady:0280:0:0.1",
    "forgets:0280:3",
    "forgets:0280:3s:FF",
    "coupling:in:0280.0:up:0281.7",
    "coupling:id:0280.0:down:0281.7:1",
    "coupling:st:0280.0:0:0280.1:1",
    "rom-bad:FF00:FF",
    "reset-at:2.5s",
    "reset-at:100",
    "cut-at:0.1s",
    "cut-at:7",
]


def test_every_fault_of_the_table_can_be_made():
    table.parse(GOOD, HERON, 1)
    assert {spec.partition(":")[0] for spec in GOOD} == {kind.name for kind in table.FAULTS}
    for kind in table.FAULTS:
        assert kind.form.startswith(kind.name + ":")
        assert kind.text


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        ("broken", "no fault is called 'broken'. Known faults: keys-lost, "),
        ("keys-lost", "the probability is missing; allowed: keys-lost:PROBABILITY"),
        ("keys-lost:2", "the probability is '2'; allowed: a number from 0 to 1"),
        ("keys-lost:nan", "the probability is 'nan'"),
        ("keys-lost:0.1:2", "'2' is too much"),
        ("stuck:0280:8:0", "the bit is '8'; allowed: 0 to 7"),
        ("stuck:0280:1:2", "the value is '2'; allowed: 0, 1"),
        ("stuck:02G0:1:0", "'02G0' is no address; allowed: 0000 to FFFF, hexadecimal"),
        ("stuck:0300-0280:1:0", "range 0300-0280 runs backwards"),
        ("stuck-chip:Q1:0", "no chip is at 'Q1'; allowed: J10, J9"),
        ("transition:0280:1:left", "the way is 'left'; allowed: up, down"),
        ("bits-shorted:0:1:0280:xor", "the wiring is 'xor'; allowed: and, or"),
        ("address-open:16:0", "the address line is '16'; allowed: 0 to 15"),
        ("coupling:xx:0280.0:up:0281.0", "the kind is 'xx'; allowed: in, id, st"),
        ("coupling:in:0280:up:0281.0", "the aggressor is '0280'; allowed: ADDRESS.BIT"),
        ("coupling:in:0280.0:up:0280.0", "the victim is the aggressor"),
        ("rom-bad:0280:00", "no ROM is at 0280"),
        ("rom-bad:FF00:100", "the value is '100'; allowed: 00 to FF"),
        ("forgets:0280:-1", "the time is '-1'"),
        ("reset-at:soon", "the moment is 'soon'; allowed: seconds such as 2.5s, or a count of keys"),
        ("cut-at:-1s", "the moment is '-1'"),
    ],
)
def test_a_spec_that_is_wrong_is_told_with_what_is_allowed(spec, words):
    with pytest.raises(UsageError) as caught:
        table.parse([spec], HERON, 1)
    assert words in str(caught.value)


def test_a_machine_without_chips_or_ram_says_so():
    from dataclasses import replace

    with pytest.raises(UsageError, match="allowed: none in this profile"):
        table.parse(["stuck-chip:A1:0"], replace(HERON, chips=()), 1)
    bare = replace(HERON, areas=tuple(area for area in HERON.areas if area.kind != "ram"))
    with pytest.raises(UsageError, match="the machine has no RAM"):
        table.parse(["bits-shorted:0:1"], bare, 1)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_same_seed_gives_the_same_session(seed):
    def session() -> tuple[str, bytes]:
        board = Board(HERON, faults=["keys-lost:0.1", "prints-changed:0.1"], seed=seed)
        heard = listen(board) + type_keys(board, "0300:1 2 3 4 5 6 7 8\r0300-0307\r")
        return heard, board.memory(0, 0x3FFF)

    assert session() == session()


def test_no_fault_costs_the_fast_way_nothing():
    board = open_board("board:fault=stuck:0380:0:1")
    clean = open_board("board:")
    assert sum(clean.bus.plain) - sum(board.bus.plain) == 1
    assert sum(clean.bus.loose) - sum(board.bus.loose) == 1
    coupled = board_with("coupling:in:0080.0:up:3000.0")
    assert sum(clean.bus.plain) - sum(coupled.bus.plain) == 2
