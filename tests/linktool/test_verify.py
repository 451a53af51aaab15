"""Reading back: what a fault of link or memory may not hide, and that no claim outlives a line typed."""

from __future__ import annotations

import random

import pytest

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.actions import Note
from linktool.board.adapter import wire_of
from linktool.board.board import Board
from linktool.calibration import WIDEST, prepare
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.check import check
from linktool.jobs.enter import enter
from linktool.jobs.read import read
from linktool.jobs.report import Finding, Report
from linktool.jobs.resident_enter import enter as resident_enter
from linktool.jobs.verify import Verification
from tests.linktool.fake_monitor import FakeMonitor

HERON = profiles.load("heron")


def false_claims(report: Report, board: Board) -> list[int]:
    """Addresses a report calls proven whose memory is not as the image has it."""
    addresses = [a for where in report.proven for a in range(where.first, where.last + 1)]
    return [a for a in addresses if board.memory(a, a)[0] != report.image.get(a)]


@pytest.mark.parametrize(
    ("fault", "image"),
    [
        (
            "address-open:8:0:1000-1FFF",
            Image.from_runs([(0x1040, bytes(range(16))), (0x1140, bytes(range(16, 32)))]),
        ),
        ("address-shorted:6:1:3000-3FFF:or", Image.from_bytes(0x3FF8, bytes(range(8)))),
        ("coupling:in:0302.1:up:0310.6", Image.from_bytes(0x0300, bytes([0xFF] * 24))),
        ("coupling:id:0310.0:up:0302.7:0", Image.from_bytes(0x0300, bytes([0xFF] * 24))),
    ],
)
def test_what_is_typed_again_may_spoil_what_was_proven_before(fault, image):
    board = Board(HERON, faults=(fault,))
    report = drive(enter(Conversation(HERON), image, "board:"), board)
    assert false_claims(report, board) == []
    whole = all(board.memory(s.first, s.last) == s.data for s in image.segments)
    assert (report.exit_status == 0) == whole


@pytest.mark.parametrize("fault", ["address-open:8:0:1000-1FFF", "address-shorted:6:1:1000-1FFF:or"])
def test_so_may_what_is_typed_after_the_receiver_has_sent_the_rest(fault):
    contents = random.Random(1)
    image = Image.from_runs([(0x1000, contents.randbytes(40)), (0x1120, contents.randbytes(300))])
    board = Board(HERON, faults=(fault,))
    report = drive(resident_enter(Conversation(HERON), image, "board:", True, "receiver"), board)
    assert false_claims(report, board) == []
    told = {finding.address for finding in report.differences}
    assert all(a in told for a, value in image.cells() if board.memory(a, a)[0] != value)


def test_a_stop_while_lines_are_typed_again_claims_nothing_from_before():
    image = Image.from_runs([(0x1040, bytes(range(16))), (0x1140, bytes(range(16, 32)))])
    board = Board(HERON, faults=("address-open:8:0:1000-1FFF",))
    wish = {"times": 0}

    def watch(note: Note, at: float) -> None:
        wish["times"] = wish["times"] or int(note.topic == "retype")

    job = enter(Conversation(HERON), image, "board:")
    report = drive(job, board, stop=lambda: wish["times"], notes=watch)
    assert report.exit_status == 130 and report.proven == () and report.differences == ()


class Masked(FakeMonitor):
    """A byte is wrong; the first time row 0300 is printed, its wrong digit is changed to the right one."""

    def __init__(self) -> None:
        super().__init__()
        self.left = 1
        self.print_fault = self._mask  # type: ignore[method-assign]  # called with number and character
        self.row = ""

    def _mask(self, number: int, character: str) -> str:
        self.row = "" if character == "\r" else self.row + character
        if self.left and self.row == "0300: 1":
            self.left = 0
            return "0"
        return character


def test_one_wrong_character_cannot_hide_a_wrong_byte_where_another_byte_is_wrong():
    image = Image.from_bytes(0x0300, bytes(64))
    monitor = Masked()
    monitor.memory.update(image.cells())
    monitor.memory[0x0300], monitor.memory[0x0330] = 0x10, 0x77
    report = drive(check(Conversation(HERON), image, "fake:"), monitor)
    assert not monitor.left
    assert report.differences == (Finding(0x0300, 0, 0x10, "memory"), Finding(0x0330, 0, 0x77, "memory"))


def test_one_wrong_character_cannot_hide_a_wrong_byte_where_the_link_shows_another_fault():
    image = Image.from_bytes(0x0300, bytes(64))
    monitor = Masked()
    monitor.memory.update(image.cells())
    monitor.memory[0x0300] = 0x10
    hit = {"left": 1}

    def mask(number: int, character: str) -> str:
        became = monitor._mask(number, character)
        if hit["left"] and monitor.row == "0328: 0":
            hit["left"] = 0
            return "?"
        return became

    monitor.print_fault = mask
    report = drive(check(Conversation(HERON), image, "fake:"), monitor)
    assert report.differences == (Finding(0x0300, 0, 0x10, "unsteady"),)


def test_a_cell_that_forgets_while_its_neighbours_are_read_again_is_not_called_proven():
    image = Image.from_bytes(0x1000, bytes([0xA4] * 256))
    board = Board(HERON, faults=("forgets:1058:20:FF", "unsteady:105B:0:0.5", "prints-changed:0.004"), seed=3)
    board.poke(0x1000, bytes([0xA4] * 256))
    report = drive(check(Conversation(HERON), image, "board:"), board)
    assert 0x1058 in {finding.address for finding in report.differences}


def test_what_was_read_once_is_not_called_proven():
    monitor = FakeMonitor()
    report = drive(read(Conversation(HERON), (Range(0x0300, 0x0320),), "fake:"), monitor)
    assert report.ok and report.proof == "none" and report.proven == ()


@pytest.mark.parametrize("seed", range(3))
def test_what_came_twice_is_proven(seed):
    board = Board(HERON, faults=("prints-changed:0.02",), seed=seed)
    board.poke(0x0300, bytes(range(64)))
    report = drive(read(Conversation(HERON), (Range(0x0300, 0x033F),), "board:"), board)
    assert report.image == Image.from_bytes(0x0300, bytes(range(64)))
    assert report.proof == "read back" and report.proven == (Range(0x0300, 0x033F),)


def test_a_claim_is_withdrawn_as_a_whole():
    result = Verification([(0x0300, b"\1")], [Finding(0x0301, 1, 2, "memory")], 2, [(0x0302, b"\2")], True)
    result.withdraw()
    assert not result.proven_image and result.findings == [] and result.noise == 2 and not result.doubted


def test_rows_read_once_count_only_while_no_fault_has_shown():
    result = Verification(once=[(0x0300, b"\1")])
    assert result.proven_image == Image.from_bytes(0x0300, b"\1")
    result.doubted = True
    assert not result.proven_image


@pytest.mark.parametrize("seed", range(30))
def test_echoes_that_jitter_make_a_window_that_can_be_used(seed):
    wire = wire_of(HERON, rate=9600, latency_s=0.1, jitter_s=0.03)
    board = Board(HERON, wire=wire, display_cps=250, seed=seed)
    talk = Conversation(HERON)
    drive(prepare(talk), board)
    assert 1 <= talk.pacing.window <= WIDEST and talk.pacing.period_s > 0
    image = Image.from_bytes(0x0300, random.Random(seed).randbytes(24))
    report = drive(enter(talk, image, "board:"), board)
    assert report.ok, report.lost
