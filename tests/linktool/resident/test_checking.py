"""What the checker's printing is taken for."""

from __future__ import annotations

from random import Random

import pytest

from formats.image import Image, Range
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.errors import NoAnswer
from linktool.resident.checking import RUN_PIECES, ask, grouped, judge, matched, stretches
from linktool.resident.sums import printed, sum_of
from tests.linktool.resident.rig import board_with, built

SUMS = ["AAAA", "BBBB", "CCCC", "DDDD"]


def test_sums_count_at_their_place():
    assert matched(SUMS, "AAAABBBBCCCCDDDD") == ([True] * 4, True)
    assert matched(SUMS, "AAAAXBBBCCCCDDDD") == ([True, False, True, True], True)


def test_where_characters_were_lost_sums_count_from_both_ends():
    assert matched(SUMS, "AAAABBBCCCCDDDD") == ([True, False, True, True], False)
    assert matched(SUMS, "AAABBBBCCCCDDDD") == ([False, True, True, True], False)
    assert matched(SUMS, "AAAABBBBCCCCDDD") == ([True, True, True, False], False)
    assert matched(SUMS, "") == ([False] * 4, False)
    assert matched(SUMS, "AAAABBBBCCCCCDDDD") == ([True, True, True, True], False)


def test_pieces_far_apart_are_asked_for_apart():
    near = [Range(0x1000, 0x10FF), Range(0x1300, 0x13FF)]
    far = Range(0x3000, 0x30FF)
    assert grouped([*near, far]) == [near, [far]]


def test_no_run_sums_more_than_can_be_waited_for():
    image = Image.from_bytes(0x0000, bytes(0xFFFF))
    parts = list(stretches(image))
    assert all(len(part.data) <= 256 * RUN_PIECES for part in parts)
    assert b"".join(part.data for part in parts) == bytes(0xFFFF)


@pytest.mark.parametrize("name", ["heron", "dot"])
def test_the_checker_is_run_and_judged(name):
    machine, found = built(name)
    board = board_with(found, name)
    data = Random(4).randbytes(700)
    board.poke(0x0800, data)
    board.poke(0x0950, bytes([data[0x150] ^ 0x10]))
    talk = Conversation(machine)
    verdict = drive(judge(talk, found, Image.from_bytes(0x0800, data)), board)
    first = 700 % 256
    assert verdict.agree == [Range(0x0800, 0x0800 + first - 1), Range(0x0800 + first + 256, 0x0800 + 699)]
    assert list(verdict.differ) == [Range(0x0800 + first, 0x0800 + first + 255)]


def test_what_is_printed_is_the_sum_of_each_piece_and_the_prompt_is_back():
    machine, found = built()
    board = board_with(found)
    data = Random(6).randbytes(300)
    board.poke(0x0800, data)
    talk = Conversation(machine)
    came = drive(ask(talk, found, Range(0x0800, 0x092B)), board)
    assert came == printed(sum_of(data[:44])) + printed(sum_of(data[44:]))
    assert talk.inbox == ""
    reading = drive(talk.examine(Range(0x0800, 0x0803)), board)
    assert reading.image.segments[0].data == data[:4]


def test_a_checker_that_does_not_come_back_is_said_to_be_so():
    machine, found = built()
    board = board_with(found)
    board.poke(found.check, b"\x4c" + found.check.to_bytes(2, "little"))  # a jump to itself
    with pytest.raises(NoAnswer, match="did not come back"):
        drive(ask(Conversation(machine), found, Range(0x0800, 0x0803)), board)
