"""Blocks on their way: pace, window, lost answers, and a receiver that is not there."""

from __future__ import annotations

from random import Random

import pytest

from formats.image import Image
from linktool.board.board import Board
from linktool.calibration import prepare
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.machine import with_link
from linktool.resident.sending import Broken, Tally, leave, send_image
from tests.linktool.resident.rig import board_with, built

DATA = Random(8).randbytes(2000)
IMAGE = Image.from_bytes(0x0800, DATA)


def talk_to(options: str = "", rate: int = 9600) -> tuple[Conversation, Board, object]:
    from linktool.board import open_board

    machine, found = built()
    board = open_board(f"board:rate={rate}" + (f",{options}" if options else ""))
    plain = board_with(found)
    code = found.placement.code
    board.poke(code.first, plain.memory(code.first, code.last))
    talk = Conversation(with_link(machine, rate=rate))
    drive(prepare(talk), board)
    return talk, board, found


def sent(options: str = "", rate: int = 9600, gap_s: float = 0.0) -> tuple[Board, Tally]:
    talk, board, found = talk_to(options, rate)
    arrived: list[tuple[int, bytes]] = []
    tally = Tally()
    drive(send_image(talk, found, IMAGE, gap_s, arrived, tally), board)  # type: ignore[arg-type]
    assert board.memory(0x0800, 0x0800 + 1999) == DATA
    assert Image.from_cells(c for at, part in arrived for c in enumerate(part, at)).segments == IMAGE.segments
    assert talk.inbox == ""
    return board, tally


@pytest.mark.parametrize("rate", [2400, 9600, 19200])
def test_nine_tenths_of_the_adapters_rate_carry_data(rate):
    _, tally = sent(rate=rate)
    assert tally.wasted == 0
    carried = 8 * tally.data / 6 / tally.seconds / (rate / 10)
    assert carried > (0.92 if rate < 19200 else 0.85), f"{carried:.3f}"


def test_nothing_is_printed_in_vain_and_no_key_is_overrun_where_it_matters():
    board, tally = sent()
    assert board.statistics().prints_lost == 0
    assert tally.wasted == 0


@pytest.mark.parametrize(
    "fault",
    ["keys-lost:0.01", "keys-changed:0.01", "keys-doubled:0.01", "prints-lost:0.05", "prints-changed:0.05"],
)
def test_faults_cost_time_and_nothing_else(fault):
    _, tally = sent(f"seed=3,fault={fault}")
    assert tally.wasted or fault.startswith("prints")


def test_latency_that_jitters_and_a_profile_that_says_too_little_are_coped_with():
    sent("latency=0.016,jitter=0.01")
    talk, board, found = talk_to("latency=0.016", 9600)
    talk.machine = with_link(talk.machine, rate=1200)
    arrived: list[tuple[int, bytes]] = []
    tally = Tally()
    drive(send_image(talk, found, IMAGE, 0.0, arrived, tally), board)  # type: ignore[arg-type]
    assert board.memory(0x0800, 0x0800 + 1999) == DATA and tally.seconds < 4
    talk, board, found = talk_to("latency=0.016", 2400)
    talk.machine = with_link(talk.machine, rate=9600)
    drive(send_image(talk, found, IMAGE, 0.0, [], tally), board)  # type: ignore[arg-type]
    assert board.memory(0x0800, 0x0800 + 1999) == DATA


def test_keys_that_come_too_fast_are_blamed_and_a_gap_helps():
    talk, board, found = talk_to("strobe=0.004")
    with pytest.raises(Broken) as broken:
        drive(send_image(talk, found, IMAGE, 0.0, []), board)  # type: ignore[arg-type]
    assert broken.value.too_fast
    drive(leave(talk, found, 0.005), board)  # type: ignore[arg-type]
    sent("strobe=0.004", gap_s=0.0045)


def test_a_reset_in_the_middle_of_a_block_is_noticed_and_commits_nothing():
    talk, board, found = talk_to()
    before = board.memory(0x0000, 0xFFFF)
    arrived: list[tuple[int, bytes]] = []
    job = send_image(talk, found, IMAGE, 0.0, arrived)  # type: ignore[arg-type]
    base = board.adapter.sent
    board._reset_keys = [base + 500]
    with pytest.raises(Broken) as broken:
        drive(job, board)
    assert not broken.value.too_fast
    drive(leave(talk, found, 0.0), board)  # type: ignore[arg-type]
    cells = {at + offset for at, part in arrived for offset in range(len(part))}
    after = board.memory(0x0000, 0xFFFF)
    for at in range(0x0280, 0x3F00):
        assert after[at] == (DATA[at - 0x0800] if at in cells else after[at])
        assert after[at] in (before[at], DATA[at - 0x0800] if 0x0800 <= at < 0x0FD0 else before[at])
