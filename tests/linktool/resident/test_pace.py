"""The time an adapter needs between two keys is found."""

from __future__ import annotations

import pytest

from linktool.board import open_board
from linktool.calibration import prepare
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.machine import with_link
from linktool.resident.pace import find_gap, least_gap_s


def found_gap(options: str, rate: int = 9600) -> float:
    board = open_board(f"board:rate={rate},{options}")
    before = board.memory(0x0280, 0x3FFF)
    talk = Conversation(with_link(board.machine, rate=rate))
    drive(prepare(talk), board)
    gap_s = drive(find_gap(talk), board)
    assert talk.inbox == "" and board.memory(0x0280, 0x3FFF) == before
    return gap_s


@pytest.mark.parametrize("latency", [0.001, 0.016])
def test_an_adapter_that_keeps_up_needs_none(latency):
    assert found_gap(f"latency={latency}") == 0.0


@pytest.mark.parametrize("strobe", [0.003, 0.005, 0.010, 0.020])
def test_an_adapter_that_holds_its_strobe_is_given_that_time_and_little_more(strobe):
    assert strobe <= found_gap(f"strobe={strobe}") <= 1.2 * strobe + 0.0015


def test_one_lost_key_does_not_slow_the_rest_down():
    assert found_gap("fault=keys-lost:0.02,seed=5") == 0.0


def test_an_adapter_faster_than_the_receiver_is_held_back():
    heron = open_board("board:").machine
    assert least_gap_s(with_link(heron, rate=9600)) == 0.0
    assert least_gap_s(with_link(heron, rate=19200)) == 0.0
    assert 0.0002 < least_gap_s(with_link(heron, rate=115200)) < 0.0005
