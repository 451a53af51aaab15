"""The table of faults: every kind can be made, and those of the wire and of moments act on a whole board."""

from __future__ import annotations

import pytest

from linktool import machine as profiles
from linktool.board import faults as table
from linktool.board import open_board
from linktool.board.board import Board
from linktool.errors import PortLost
from tests.board.typist import listen, type_keys

HERON = profiles.load("heron")


def board_with(*specs: str, **options: object) -> Board:
    return Board(HERON, faults=list(specs), **options)  # type: ignore[arg-type]  # options of Board


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
