"""check by the checker."""

from __future__ import annotations

import json
from random import Random

from formats.image import Image, Range
from linktool.board import open_board
from linktool.board.board import Board
from linktool.cli import main
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.resident_check import check
from linktool.jobs.resident_enter import enter
from linktool.machine import load, with_link
from linktool.resident.residence import residence

HERON = with_link(load("heron"), rate=9600)
DATA = Random(1).randbytes(4096)
IMAGE = Image.from_bytes(0x0280, DATA)


def ready(options: str = "") -> tuple[Conversation, Board]:
    """A board that holds DATA, as if it had been entered by another talk."""
    board = open_board("board:rate=9600" + options)
    board.poke(0x0280, DATA)
    return Conversation(HERON), board


def test_the_checker_proves_four_kibibytes_in_seconds_once_it_is_there():
    talk, board = ready()
    first = drive(check(talk, IMAGE, "board:", "checker"), board)
    assert first.ok and (first.via, first.proof) == ("checker", "checksum")
    assert first.proven == (Range(0x0280, 0x127F),) and first.effort.seconds < 12
    again = drive(check(talk, IMAGE, "board:"), board)
    assert again.ok and again.via == "checker" and again.effort.seconds < 4


def test_a_check_does_not_change_memory_unless_asked_to():
    talk, board = ready(",display=3000")
    image = Image.from_bytes(0x0280, DATA[:300])
    before = board.memory(0x0280, 0x3FFF)
    report = drive(check(talk, image, "board:"), board)
    assert report.ok and (report.via, report.proof) == ("read", "read back")
    assert board.memory(0x0280, 0x3FFF) == before


def test_a_long_reading_mentions_the_checker_and_what_it_would_overwrite():
    talk, board = ready(",display=1000")
    report = drive(check(talk, Image.from_bytes(0x0280, DATA[:1500])), board)
    assert report.ok and "--via checker takes about" in report.remarks[0] and "3F00-3FFF" in report.remarks[0]


def test_only_pieces_that_differ_are_read_back_and_each_address_is_named():
    talk, board = ready()
    board.poke(0x0456, bytes([DATA[0x1D6] ^ 0x80]))
    report = drive(check(talk, IMAGE, "board:", "checker"), board)
    (finding,) = report.differences
    assert (finding.address, finding.expected, finding.kind) == (0x0456, DATA[0x1D6], "memory")
    assert report.exit_status == 1 and report.effort.printed < 2000
    assert sum(len(part) for part in report.proven) == 4095


def test_rom_is_summed_and_a_hole_is_read_back():
    talk, board = ready()
    rom = board.memory(0xFF00, 0xFFFF)
    image = Image.from_runs([(0x7FFA, bytes(12)), (0xFF00, rom)])
    report = drive(check(talk, image, "board:", "checker"), board)
    assert Range(0xFF00, 0xFFFF) in report.proven
    assert {finding.address for finding in report.differences} == set(range(0x7FFA, 0x8006))


def test_registers_are_never_summed():
    """Reading the key register takes a key; the checker would read it without being seen."""
    talk, board = ready()
    reads = []
    core = board.bus.readers
    data = HERON.symbols["key_data"]
    before = core[data]
    core[data] = lambda: (reads.append(board.processor.core.pc), before())[1]
    image = Image.from_runs([(0x0280, DATA[:64]), (0x9EFC, bytes(12))])
    drive(check(talk, image, "board:", "checker"), board)
    code = residence(talk).routines.placement.code
    assert not [pc for pc in reads if pc in code]


def test_an_image_that_includes_the_routines_is_checked_from_another_place():
    talk, board = ready()
    drive(enter(talk, IMAGE, via="receiver"), board)
    held = board.memory(0x3F00, 0x3FFF)
    image = Image.from_bytes(0x3F00, held)
    report = drive(check(talk, image, "board:", "checker"), board)
    assert report.ok and "3F00" not in report.remarks[0]


def test_without_room_it_is_read_back_and_the_report_says_why():
    talk, board = ready(",display=3000")
    residence(talk).known = Image.from_bytes(0x0280, bytes(0x3D80))
    report = drive(check(talk, Image.from_bytes(0x0280, DATA[:40]), "board:", "checker"), board)
    assert report.ok and report.via == "read" and "no room for 83 bytes" in report.remarks[0]


def test_a_bit_that_now_and_then_reads_wrong_is_told_where_it_shows():
    told = 0
    for seed in range(6):
        talk, board = ready(f",fault=unsteady:0300:0:0.5,seed={seed}")
        image = Image.from_bytes(0x0280, DATA[:600])
        report = drive(check(talk, image, "board:", "checker"), board)
        named = [finding.address for finding in report.differences]
        assert named in ([], [0x0300])
        told += bool(named) or any("unsteady" in remark for remark in report.remarks)
    assert told


def test_on_the_command_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    monkeypatch.chdir(tmp_path)
    rom = open_board("board:").memory(0xFF00, 0xFFFF)
    (tmp_path / "rom.bin").write_bytes(rom)
    words = ["check", "rom.bin", "--at", "FF00", "--port", "board:rate=9600", "--via", "checker"]
    assert main([*words, "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["via"] == "checker" and facts["proof"] == "checksum"
