"""read by the reader."""

from __future__ import annotations

import json
from random import Random

import pytest

from formats.image import Image, Range
from linktool.board import open_board
from linktool.board.board import Board
from linktool.cli import main
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.resident_enter import enter
from linktool.jobs.resident_read import read
from linktool.machine import load, with_link
from linktool.resident.forecast import reading
from linktool.resident.residence import residence

HERON = with_link(load("heron"), rate=9600)
DATA = Random(1).randbytes(1000)


def ready(options: str = "") -> tuple[Conversation, Board]:
    board = open_board("board:rate=9600" + options)
    board.poke(0x0280, DATA)
    return Conversation(HERON), board


@pytest.mark.parametrize("length", [1, 2, 3, 256, 767, 1000])
def test_what_is_read_is_proven_by_the_machines_own_sum(length):
    talk, board = ready()
    report = drive(read(talk, (Range(0x0280, 0x0280 + length - 1),), "board:", "reader"), board)
    assert report.ok and (report.via, report.proof) == ("reader", "checksum")
    assert report.image.segments[0].data == DATA[:length]
    assert report.proven == (Range(0x0280, 0x0280 + length - 1),)


def test_it_takes_as_long_as_forecast_and_less_than_half_of_a_dump():
    talk, board = ready()
    wanted = (Range(0x0280, 0x0667),)
    forecast = reading(HERON, wanted)
    report = drive(read(talk, wanted, via="reader"), board)
    took = report.effort.seconds - report.effort.preparation_s
    assert forecast.with_routines_s == pytest.approx(took, rel=0.06)
    again = reading(HERON, wanted, residence(talk).routines, True)
    report = drive(read(talk, wanted), board)
    took = report.effort.seconds - report.effort.preparation_s
    assert report.via == "reader" and again.with_routines_s == pytest.approx(took, rel=0.06)
    assert took < again.by_hand_s / 2


def test_a_reading_does_not_change_memory_unless_asked_to():
    talk, board = ready(",display=3000")
    before = board.memory(0x0280, 0x3FFF)
    report = drive(read(talk, (Range(0x0280, 0x04FF),)), board)
    assert report.ok and report.via == "dump" and board.memory(0x0280, 0x3FFF) == before


def test_the_reader_joins_routines_that_are_there_already():
    talk, board = ready()
    drive(enter(talk, Image.from_bytes(0x0280, DATA), via="receiver"), board)
    report = drive(read(talk, (Range(0x0280, 0x0667),)), board)
    assert report.via == "reader" and report.image.segments[0].data == DATA
    assert residence(talk).receiver and residence(talk).reader


def test_several_ranges_rom_and_a_hole():
    talk, board = ready()
    wanted = (Range(0x0280, 0x02FF), Range(0x7FF0, 0x8010), Range(0xFF00, 0xFFFF))
    report = drive(read(talk, wanted, via="reader"), board)
    for each in wanted:
        assert report.image.slice(each).segments[0].data == board.memory(each.first, each.last)


def test_registers_are_dumped_by_the_monitor():
    talk, board = ready()
    talk.machine = HERON
    code_reads = []
    data = HERON.symbols["key_data"]
    before = board.bus.readers[data]
    board.bus.readers[data] = lambda: (code_reads.append(board.processor.core.pc), before())[1]
    report = drive(read(talk, (Range(0x9EF0, 0x9F0F),), via="reader"), board)
    routines = residence(talk).routines
    assert routines is not None and report.image.extent == Range(0x9EF0, 0x9F0F)
    assert not [pc for pc in code_reads if pc in routines.overwritten(False)[1]]
    assert report.proof == "none", "what was dumped once is not proven"


def test_a_link_with_faults_is_read_all_the_same():
    talk, board = ready(",seed=2,fault=prints-lost:0.01,fault=prints-changed:0.01")
    report = drive(read(talk, (Range(0x0280, 0x037F),), via="reader"), board)
    assert report.ok and report.image.segments[0].data == DATA[:256]
    assert report.proven == (Range(0x0280, 0x037F),)


def test_ctrl_c_keeps_what_came():
    talk, board = ready()
    report = drive(
        read(talk, (Range(0x0280, 0x0667),), via="reader"), board, stop=lambda: int(board.now() > 30)
    )
    assert report.stopped and not report.lost and report.proven == ()
    assert report.image.segments[0].data == DATA[: len(report.image)] and len(report.image) >= 768


def test_without_room_the_dump_is_taken_and_the_report_says_why():
    talk, board = ready(",display=3000")
    residence(talk).known = Image.from_bytes(0x0280, bytes(0x3D80))
    report = drive(read(talk, (Range(0x0280, 0x0290),), via="reader"), board)
    assert report.via == "dump" and "no room" in report.remarks[0]


def test_on_the_command_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    monkeypatch.chdir(tmp_path)
    words = ["read", "FF00-FFFF", "-o", "rom.bin", "--port", "board:rate=9600", "--via", "reader", "--json"]
    assert main(words) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["via"] == "reader" and facts["proof"] == "checksum"
    assert (tmp_path / "rom.bin").read_bytes() == open_board("board:").memory(0xFF00, 0xFFFF)
