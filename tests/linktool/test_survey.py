"""survey on the simulated board: what answers, times, memory left as it was, interruption, link faults."""

from __future__ import annotations

from pathlib import Path

import pytest

from formats import files
from formats.image import Image, Range
from linktool import machine as profiles
from linktool.actions import Note
from linktool.board.adapter import wire_of
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.diagnosis import diagnose
from linktool.driver import drive
from linktool.jobs.resume import give_back
from linktool.jobs.survey import SurveyReport, survey
from linktool.machine import Machine
from linktool.packed_image import unpack
from linktool.probes import Probe, coarse_pages, guard_for, probes_for

MACHINES = {name: profiles.load(name) for name in ("heron", "dot")}
HERON = MACHINES["heron"]
HERON_TEXT = (profiles.SHIPPED / "heron.toml").read_text("utf-8")
MORE_RAM = '[[area]]\nfirst = "4000"\nlast = "7FFF"\nkind = "ram"\nlabel = "more"\n\n[[area]]\nfirst = "9F00"'
LETTERS_FILE = Path(__file__).with_name("letters.toml")
LETTERS = profiles.load(str(LETTERS_FILE))
LETTERS_ROM = files.load(LETTERS_FILE.with_suffix(".s"), symbols=LETTERS.symbols).image
WHOLE = profiles.parse(HERON_TEXT.replace('[[area]]\nfirst = "9F00"', MORE_RAM, 1), "whole.toml")


def coarse(machine: Machine) -> tuple[Probe, ...]:
    return probes_for(machine, coarse_pages(machine))


def held(board: Board) -> Image:
    """The board's memory, but for what the monitor itself works in."""
    image = Image.from_bytes(0, board.memory(0, 0x3FFF))
    for area in board.machine.reserved:
        image = image.without(area.range)
    return image


def surveyed(board: Board, probes: tuple[Probe, ...] | None = None) -> SurveyReport:
    talk = Conversation(board.machine)
    return drive(survey(talk, probes or coarse(board.machine), "board:"), board)


def told(report: SurveyReport) -> list[tuple[str, str, str]]:
    return [(str(each.range), each.state, each.verdict) for each in report.stretches]


@pytest.mark.parametrize("name", MACHINES)
def test_a_coarse_pass_over_a_healthy_board_takes_under_a_minute_and_leaves_memory_as_it_was(name):
    board = Board(MACHINES[name], wire=wire_of(MACHINES[name], latency_s=0.016), seed=7)
    before = held(board)
    report = surveyed(board)
    assert report.ok and report.exit_status == 0
    assert {verdict for _, _, verdict in told(report)} == {"as expected"}
    assert held(board) == before
    assert not report.owed and report.restored
    assert board.now() < 60.0


@pytest.mark.parametrize("name", MACHINES)
def test_all_256_pages_take_under_four_minutes_and_leave_memory_as_it_was(name):
    board = Board(MACHINES[name], wire=wire_of(MACHINES[name], latency_s=0.016), seed=8)
    before = held(board)
    report = surveyed(board, probes_for(board.machine, range(0x100)))
    assert report.ok and held(board) == before
    assert len(report.pages) == 0x100 and board.now() < 240.0
    states = {page.number: page.state for page in report.pages}
    assert states[0x01] == "in use" and states[0x50] == "floating" and states[0xFF] == "rom"


def test_a_missing_bank_does_not_answer():
    report = surveyed(Board(HERON, faults=("bank-missing:2000-2FFF",)))
    assert ("2000-2FFF", "floating", "wrong") in told(report) and report.exit_status == 1
    (fault,) = diagnose(HERON, report.evidence).faults
    assert fault.cause.kind == "missing"


@pytest.mark.parametrize("seed", range(3))
def test_a_bank_that_mirrors_the_monitors_memory_is_found_and_never_written(seed):
    board = Board(HERON, faults=("mirror:0000-0FFF:1000-1FFF",), seed=seed)
    before = held(board)
    report = surveyed(board)
    assert ("1000-1FFF", "mirror", "wrong") in told(report)
    assert next(s for s in report.stretches if s.state == "mirror").of == Range(0, 0x0FFF)
    (fault,) = diagnose(HERON, report.evidence).faults
    assert fault.cause.kind == "mirrored" and fault.cause.other == Range(0, 0x0FFF)
    assert held(board).slice(Range(0, 0x0FFF)) == before.slice(Range(0, 0x0FFF))


def test_a_bank_that_mirrors_another_one():
    report = surveyed(Board(HERON, faults=("mirror:2000-2FFF:3000-3FFF",)))
    assert ("3000-3FFF", "mirror", "wrong") in told(report)
    (fault,) = diagnose(HERON, report.evidence).faults
    assert (fault.cause.kind, fault.cause.other) == ("mirrored", Range(0x2000, 0x2FFF))


def test_memory_that_shows_all_over_the_map_where_the_upper_lines_are_not_decoded():
    """Every page of 4000-7FFF shows RAM: tags of odd and even pages must not be taken for one another."""
    board = Board(WHOLE, faults=("mirror:0000-3FFF:4000-7FFF",), seed=6)
    talk = Conversation(HERON)
    report = drive(survey(talk, probes_for(HERON, range(0x80)), "board:"), board)
    assert told(report)[-1] == ("4000-7FFF", "mirror", "more than expected")
    assert report.stretches[-1].of == Range(0, 0x3FFF)
    others = {(page.number, page.state) for page in report.pages if page.number >= 0x40} - {
        (number, "mirror") for number in range(0x40, 0x80)
    }
    assert others == {(0x41, "not probed")}, "it would show the stack, which is not written and reads 00"


def test_memory_that_shows_where_nothing_should_be_is_not_called_bad_for_it():
    board = Board(HERON, faults=("mirror:1000-1FFF:5000-5FFF",), seed=1)
    talk = Conversation(HERON)
    report = drive(survey(talk, probes_for(HERON, range(0x100)), "board:"), board)
    assert ("5000-5FFF", "mirror", "more than expected") in told(report)
    assert not report.evidence.wrong and report.exit_status == 0


def test_memory_beyond_the_profile_is_told_and_is_no_fault():
    more = profiles.parse(
        HERON_TEXT.replace('last = "3FFF"\nkind = "ram"', 'last = "4FFF"\nkind = "ram"', 1), "more.toml"
    )
    board = Board(more, seed=3)
    before = Image.from_bytes(0x4000, board.memory(0x4000, 0x4FFF))
    talk = Conversation(HERON)
    report = drive(survey(talk, probes_for(HERON, range(0x38, 0x58)), "board:"), board)
    assert ("4000-4FFF", "ram", "more than expected") in told(report)
    assert report.exit_status == 0
    assert Image.from_bytes(0x4000, board.memory(0x4000, 0x4FFF)) == before


@pytest.mark.parametrize("at_s", [3, 8, 14, 20, 26, 32, 38, 44])
def test_stopped_at_any_moment_memory_is_as_it_was(at_s):
    board = Board(HERON, seed=at_s)
    before = held(board)
    talk = Conversation(HERON)
    report = drive(survey(talk, coarse(HERON), "board:"), board, stop=lambda: int(board.now() > at_s))
    assert report.stopped and report.exit_status == 130 and not report.owed
    assert held(board) == before


@pytest.mark.parametrize("at_s", [10, 18, 24, 30, 36, 42])
def test_a_link_lost_at_any_moment_is_made_good_by_resume(at_s):
    board = Board(HERON, faults=(f"cut-at:{at_s}s",), seed=at_s)
    before = held(board)
    kept: dict[str, list[Image]] = {"borrowed": [], "borrowing": []}

    def noted(note: Note, at: float) -> None:
        if note.topic in kept:
            kept[note.topic].append(unpack(note.facts["image"]))

    report = drive(survey(Conversation(HERON), coarse(HERON), "board:"), board, notes=noted)
    assert report.lost and report.exit_status == 3
    assert {a for a, _ in report.owed.cells()} >= {a for a, v in held(board).cells() if before.get(a) != v}
    board.restore()
    was = Image.from_cells(cell for image in kept["borrowed"] for cell in image.cells())
    back = drive(give_back(Conversation(HERON), was, tuple(kept["borrowing"]), "survey"), board)
    assert back.ok and held(board) == before


def test_what_the_user_has_put_there_since_is_left_alone():
    board = Board(HERON, seed=5)
    board.poke(0x1300, b"\x77\x5a")
    was = Image.from_bytes(0x1300, b"\x11\x22\x33")
    tags = Image.from_bytes(0x1300, b"\x5a\x5a")
    board.poke(0x1302, b"\x33")
    back = drive(give_back(Conversation(HERON), was, (tags,), "survey"), board)
    assert board.memory(0x1300, 0x1302) == b"\x77\x22\x33"
    assert back.left == (Range(0x1300, 0x1300),) and back.restored == (Range(0x1301, 0x1301),)


@pytest.mark.parametrize(
    "fault", ["prints-changed:0.004", "prints-lost:0.004", "keys-lost:0.005", "keys-changed:0.003"]
)
def test_a_poor_link_neither_spoils_memory_nor_names_a_fault(fault):
    for seed in range(2):
        board = Board(HERON, faults=(fault,), seed=seed)
        before = held(board)
        report = surveyed(board)
        assert held(board) == before, seed
        assert report.exit_status == 0, (seed, told(report))
        assert diagnose(HERON, report.evidence).sound


def test_registers_are_never_touched():
    board = Board(HERON)
    reads: list[int] = []
    for address, reader in list(board.bus.readers.items()):
        board.bus.readers[address] = lambda address=address, reader=reader: reads.append(address) or reader()
    surveyed(board, probes_for(HERON, [0x9E, 0x9F, 0xA0]))
    by_monitor = {HERON.symbols[name] for name in ("key_data", "key_status", "display_status")}
    assert set(reads) <= by_monitor
    assert board.statistics().prints_lost == 0


@pytest.mark.parametrize("position", ["K3", "L8", "M10"])
def test_a_stuck_chip_shows_and_is_named(position):
    report = surveyed(Board(HERON, faults=(f"stuck-chip:{position}:1",), seed=2))
    assert report.exit_status == 1
    (fault,) = diagnose(HERON, report.evidence).faults
    assert fault.cause.kind == "stuck" and fault.chip is not None and fault.chip.position == position


def test_a_guard_that_did_not_arrive_frees_nothing():
    """A cell that cannot take the guard's values: what shows at other addresses is not known then."""
    guard = guard_for(HERON, probes_for(HERON, range(0x80)))
    assert guard is not None
    board = Board(WHOLE, faults=("mirror:0000-3FFF:4000-7FFF", f"stuck:{guard.cell:04X}:0:1"), seed=6)
    before = held(board)
    report = drive(survey(Conversation(HERON), probes_for(HERON, range(0x80)), "board:"), board)
    assert not report.lost and held(board) == before


def test_a_page_that_reads_otherwise_is_not_said_to_mirror():
    """Half of a block of the map's upper part shows memory; the other half holds nothing."""
    board = Board(LETTERS, rom=LETTERS_ROM, faults=("mirror:0000-0FFF:4000-4FFF",), seed=6)
    report = drive(survey(Conversation(LETTERS), probes_for(LETTERS, range(0x40, 0x60)), "board:"), board)
    assert {page.state for page in report.pages if page.number >= 0x50} <= {"floating", "not probed"}
