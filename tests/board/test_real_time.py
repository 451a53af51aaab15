"""A board in step with a clock that the test moves."""

from __future__ import annotations

import pytest

from linktool.board import open_board
from linktool.board.real_time import BEHIND_S, TURN_S, WORKING_S, RealTime

START = 1000.0


def paced(url: str = "board:") -> RealTime:
    return RealTime(open_board(url), START)


def settled() -> RealTime:
    """A board at its prompt, and the clock one second on."""
    board = paced()
    heard = b""
    for step in range(100):
        heard += board.turn(START + step * 0.01)
    assert heard == b"\r="
    return board


def test_an_idle_board_is_never_due_and_catches_up_at_once():
    board = settled()
    assert board.due() == float("inf")
    assert board.turn(START + 5000.0) == b""
    assert board.board.now() == pytest.approx(5000.0)
    assert board.slipped_s == 0


def test_an_echo_is_due_when_it_arrives():
    board = settled()
    now = START + 1.0
    board.turn(now)
    board.feed(b"A")
    heard, turns = b"", 0
    while board.due() < float("inf"):
        now = max(now, board.due())
        heard += board.turn(now)
        turns += 1
    assert heard == b"A"
    assert now == pytest.approx(START + 1.0 + 2 * (0.002 + 10 / 2400), abs=0.02)
    assert turns < 10


@pytest.mark.parametrize("cycles", range(-8, 13))
def test_a_turn_that_ends_just_as_the_display_is_free_does_not_leave_it_waiting(cycles):
    paced = settled()
    now = START + 1.0
    paced.turn(now)
    for key in b"FF00-FF07\r":
        paced.feed(bytes([key]))
        now += 0.05
        paced.turn(now)
    display = paced.board.display
    now = START + (display.busy_until + cycles) / paced.board.clock_hz
    heard = paced.turn(now)
    while paced.due() < float("inf"):
        now = max(now, paced.due())
        heard += paced.turn(now)
    assert heard.endswith(b"\r=")


def test_a_working_program_gets_turns_and_a_late_board_slips():
    board = settled()
    board.board.poke(0x0300, bytes.fromhex("E8 D0 FD 4C 00 03"))
    board.board.processor.core.pc = 0x0300
    now = START + 1.0
    board.turn(now)
    assert board.due() == pytest.approx(now + WORKING_S)
    board.turn(now + 0.01)
    assert board.board.now() == pytest.approx(1.01)
    board.turn(now + 0.01 + 0.1)
    assert board.board.now() == pytest.approx(1.01 + TURN_S)
    assert board.due() < now + 0.01 + 0.1
    assert board.slipped_s == 0
    board.turn(now + 50.0)
    assert board.board.now() == pytest.approx(1.01 + 2 * TURN_S)
    assert board.slipped_s == pytest.approx(50.0 - 0.01 - 2 * TURN_S)
    assert board.slipped_s > BEHIND_S
    board.turn(now + 50.01)
    assert board.board.now() == pytest.approx(1.02 + 2 * TURN_S)


def test_a_cut_link_is_lost_for_good():
    board = paced("board:fault=cut-at:0.5s")
    heard = b""
    for step in range(100):
        heard += board.turn(START + step * 0.01)
    assert heard == b"\r="
    assert board.lost and not board.hungry
    assert board.due() == float("inf")
    board.feed(b"A")
    assert board.turn(START + 2) == b""


def test_a_host_that_sends_too_much_has_to_wait():
    board = settled()
    assert board.hungry
    board.feed(b"A" * 300)
    assert not board.hungry
    board.turn(START + 2.0)
    assert board.hungry


def test_a_scheduled_reset_is_due():
    board = paced("board:fault=reset-at:10s")
    for step in range(100):
        board.turn(START + step * 0.01)
    assert board.due() == pytest.approx(START + 10.0, abs=1e-5)
