"""However a job ends, it ends in order: what was in hand is cancelled, and its report says why."""

from __future__ import annotations

from linktool.actions import Talk
from linktool.board import open_board
from linktool.board.board import Board
from linktool.conversation import Conversation, Stopped
from linktool.driver import drive
from linktool.errors import NoAnswer
from linktool.jobs.attempt import Ended, attempt, leave_be
from linktool.machine import load

HALF_A_LINE = "0280:A9"


def half_a_line(talk: Conversation, then: Exception | None = None) -> Talk[None]:
    for key in HALF_A_LINE:
        yield from talk.send(key)
        yield from talk.pause(0.1)
    if then:
        raise then


def after(then: Exception | None, at_prompt: bool = True) -> tuple[Ended, Conversation, Board]:
    talk, board = Conversation(load("heron")), open_board("board:")
    work = half_a_line(talk, then)
    ended = drive(
        attempt(talk, "test", work) if at_prompt else attempt(talk, "test", work, at_stop=leave_be), board
    )
    return ended, talk, board


def commit(talk: Conversation, board: Board) -> int:
    """Strike the end key; what is at 0280 then."""

    def end() -> Talk[None]:
        yield from talk.send(talk.dialect.end_key)
        yield from talk.pause(1.0)

    drive(end(), board)
    return board.memory(0x0280, 0x0280)[0]


def test_a_stop_cancels_the_line_in_hand():
    ended, talk, board = after(Stopped())
    assert (ended.stopped, ended.lost) == (True, "")
    assert ended.effort.keystrokes >= len(HALF_A_LINE) and ended.effort.seconds > 0.7
    assert talk.inbox == "" and commit(talk, board) != 0xA9


def test_where_no_line_is_in_hand_a_stop_strikes_nothing():
    ended, talk, board = after(Stopped(), at_prompt=False)
    assert (ended.stopped, ended.lost) == (True, "")
    assert commit(talk, board) == 0xA9


def test_a_machine_that_does_not_answer_is_said_and_nothing_is_raised():
    ended, _, _ = after(NoAnswer("it came back wrong", "lower the rate"))
    assert not ended.stopped and "it came back wrong" in ended.lost and "lower the rate" in ended.lost


def test_a_stop_that_finds_no_machine_says_both():
    def cut() -> Talk[None]:
        yield from talk.pause(1.0)
        raise Stopped

    talk, board = Conversation(load("heron")), open_board("board:fault=keys-lost:1")
    ended = drive(attempt(talk, "test", cut(), wake=False), board)
    assert ended.stopped and ended.lost
