"""Taking the evidence of a case: through the monitor as at the bench, or on the board's memory directly."""

from __future__ import annotations

from collections.abc import Iterable
from random import Random

from formats.image import Image, Range
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.evidence import Evidence, Sample, banks_of, from_check, from_images
from linktool.jobs.check import check
from linktool.jobs.enter import enter
from linktool.jobs.measure import CLOSE_READINGS, measure
from linktool.jobs.read import read
from linktool.jobs.survey import survey
from linktool.pattern import Pattern, pattern_for
from linktool.probes import coarse_pages, probes_for, tags
from tests.confusion.cases import Case

CHECKED = 512


def board_of(case: Case) -> Board:
    """The board of the case, its chance drawn from the case's number."""
    return Board(case.machine, faults=tuple(case.spec.split()), seed=case.number + 1)


def patterns(case: Case) -> list[Pattern]:
    """A pattern for each bank; a close look around a single cell."""
    close = Range(max(case.near - 3, case.near & 0xF000), min(case.near + 4, case.near | 0x0FFF))
    asked = close if case.method == "close" else None
    found = [pattern_for(case.machine, bank, asked) for bank in banks_of(case.machine) if bank.kind == "ram"]
    return [each for each in found if each]


def entered(case: Case) -> Image:
    """A program of chance bytes that a check compares."""
    size = min(CHECKED, 0x1000 - (case.near & 0xFFF))
    return Image.from_bytes(case.near, Random(f"{case.number} program").randbytes(size))


def good_rom(case: Case) -> Image:
    """What the ROM should hold."""
    return Image.from_bytes(0xFF00, Board(case.machine).memory(0xFF00, 0xFFFF))


# ---- through the monitor ----


def over_the_link(case: Case) -> Evidence:
    """As at the bench. AssertionError where the link fails: such a case should not have been drawn."""
    board, talk = board_of(case), Conversation(case.machine)
    if case.method in ("pattern", "close"):
        measured = drive(measure(talk, patterns(case)), board)
        assert not measured.lost, measured.lost
        return measured.evidence
    if case.method == "survey":
        report = drive(survey(talk, probes_for(case.machine, coarse_pages(case.machine))), board)
        assert not report.lost, report.lost
        return report.evidence
    if case.method == "rom":
        wanted = good_rom(case)
        reading = drive(read(talk, (Range(0xFF00, 0xFFFF),)), board)
        assert not reading.lost, reading.lost
        return from_images("rom", wanted, reading.image)
    image = entered(case)
    drive(enter(talk, image, check=False), board)
    checked = drive(check(talk, image), board)
    assert not checked.lost, checked.lost
    proven = Image.from_runs((r.first, image.slice(r).segments[0].data) for r in checked.proven)
    return from_check("check", proven, checked.differences, checked.noise)


# ---- on the board's memory ----


def on_the_bus(case: Case) -> Evidence:
    """The same bytes written and read without the monitor: every fault of memory acts, none of the link."""
    board = board_of(case)
    if case.method in ("pattern", "close"):
        return _patterns(case, board)
    if case.method == "survey":
        probes = probes_for(case.machine, coarse_pages(case.machine))
        reach = [p.range for p in probes if p.use == "write"]
        before = {a: board.bus[a] for r in reach for a in range(r.first, r.last + 1)}
        return Evidence("survey", (_round(board, tags(probes, before)),))
    if case.method == "rom":
        return from_images("rom", good_rom(case), Image.from_bytes(0xFF00, board.memory(0xFF00, 0xFFFF)))
    return Evidence("check", (_round(board, entered(case)),))


def _patterns(case: Case, board: Board) -> Evidence:
    found = patterns(case)
    first = _round(board, _joined(each.first for each in found), _closely(found))
    again = [p for p in found if p.closely or any(s.wrong or not s.steady for s in p.bank.part(first))]
    if not again:
        return Evidence("pattern", (first,))
    second = _round(board, _joined(each.second for each in again), _closely(again))
    return Evidence("pattern", (first, second))


def _joined(images: Iterable[Image]) -> Image:
    return Image.from_cells(cell for image in images for cell in image.cells())


def _closely(found: list[Pattern]) -> set[int]:
    return {a for each in found for where in each.closely for a in range(where.first, where.last + 1)}


def _round(board: Board, image: Image, closely: Iterable[int] = ()) -> tuple[Sample, ...]:
    """Write all, then read all; what is wrong, or looked at closely, several times."""
    for address, value in image.cells():
        board.bus[address] = value
    samples = []
    for address, value in image.cells():
        readings = [board.bus[address]]
        if address in closely or readings[0] != value:
            readings += [board.bus[address] for _ in range(2 * CLOSE_READINGS)]
        samples.append(Sample(address, value, tuple(readings)))
    return tuple(samples)
