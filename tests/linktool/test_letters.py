"""A third dialect works by its profile alone: letters for commands, on a monitor ROM of its own."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from formats import files
from formats.image import Image, Range
from linktool import machine as profiles
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.check import check
from linktool.jobs.enter import enter
from linktool.jobs.read import read
from linktool.jobs.run import run

HERE = Path(__file__).parent
LETTERS = profiles.load(str(HERE / "letters.toml"))
ROM = files.load(HERE / "letters.s", symbols=LETTERS.symbols).image
IMAGE = Image.from_runs([(0x0280, random.Random(5).randbytes(150)), (0x0FF0, bytes(range(40)))])


def board(*faults: str, seed: int = 1) -> Board:
    return Board(LETTERS, rom=ROM, faults=faults, seed=seed)


def test_enter_proves_and_memory_holds_it():
    target = board()
    report = drive(enter(Conversation(LETTERS), IMAGE, "board:"), target)
    assert report.ok and report.effort.lines_retyped == 0, report.lost
    for segment in IMAGE.segments:
        assert target.memory(segment.first, segment.last) == segment.data


def test_read_and_check():
    target = board()
    target.poke(0x0280, bytes(range(64)))
    report = drive(read(Conversation(LETTERS), (Range(0x0285, 0x02A3),), "board:"), target)
    assert report.image == Image.from_bytes(0x0285, bytes(range(5, 36)))
    checked = drive(check(Conversation(LETTERS), Image.from_bytes(0x0280, bytes(64)), "board:"), target)
    assert len(checked.differences) == 63


def test_run():
    target = board()
    # wait: bit display_status, bmi wait; lda #'A', sta display_data, jmp FE04 (the monitor's way back)
    target.poke(0x0280, bytes.fromhex("2C03A8 30FB A941 8D02A8 4C04FE"))
    report = drive(run(Conversation(LETTERS), 0x0280, 3.0, "board:"), target)
    assert report.output == "A\r+ " and report.back_at_prompt


@pytest.mark.parametrize("seed", range(4))
def test_without_a_rubout_key_lines_shrink_and_still_all_is_proven(seed):
    target = board("keys-lost:0.01", "prints-changed:0.005", seed=seed)
    report = drive(enter(Conversation(LETTERS), IMAGE, "board:"), target)
    assert report.ok, report.lost
    assert report.effort.lines_repaired == 0 and report.effort.lines_retyped > 0
    for segment in IMAGE.segments:
        assert target.memory(segment.first, segment.last) == segment.data
