"""The reader's dense text, and the reader on the board's processor."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Range
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.errors import NoAnswer
from linktool.resident.reading_out import RUN_BYTES, decoded, print_out
from tests.linktool.resident.rig import board_with, built


def spelled(data: bytes) -> str:
    """Three bytes as four characters, 20 and up, written from the description."""
    bits = "".join(f"{byte:08b}" for byte in data)
    return "".join(chr(0x20 + int(bits[at : at + 6], 2)) for at in range(0, len(bits), 6))


@given(st.binary(max_size=60).filter(lambda data: len(data) % 3 == 0))
def test_text_is_taken_apart_again(data):
    assert decoded(spelled(data)) == data


@pytest.mark.parametrize("text", ["ABC", "ABCDE", "abcd", "ABC\r"])
def test_text_that_is_none_is_refused(text):
    with pytest.raises(ValueError, match=r"groups|64 characters"):
        decoded(text)


@pytest.mark.parametrize("name", ["heron", "dot"])
@pytest.mark.parametrize("length", [3, 300, RUN_BYTES])
def test_memory_is_printed_across_pages_up_to_256_groups(name, length):
    machine, found = built(name)
    board = board_with(found, name)
    board.poke(found.reader.segments[0].first, found.reader.segments[0].data)
    data = Random(length).randbytes(length)
    board.poke(0x08F1, data)
    talk = Conversation(machine)
    assert drive(print_out(talk, found, Range(0x08F1, 0x08F1 + length - 1)), board) == data
    assert talk.inbox == ""


def test_a_reader_that_does_not_come_back_is_said_to_be_so():
    machine, found = built()
    board = board_with(found)
    board.poke(found.read, b"\x4c" + found.read.to_bytes(2, "little"))
    with pytest.raises(NoAnswer, match="did not come back"):
        drive(print_out(Conversation(machine), found, Range(0x0800, 0x0802)), board)
