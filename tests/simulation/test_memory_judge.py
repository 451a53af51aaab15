"""That the judge of surveys, diagnoses and one-way links sees what it is there for."""

from __future__ import annotations

import pytest

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.board.board import Board
from linktool.causes import Cause
from linktool.conversation import Conversation
from linktool.diagnosis import Diagnosis, Fault
from linktool.driver import drive
from linktool.evidence import Evidence
from linktool.jobs.read import read
from linktool.jobs.report import Report
from linktool.jobs.survey import SurveyReport
from linktool.map_check import stretches
from linktool.page_states import Page
from tests.simulation import one_way
from tests.simulation.extras import TESTS, draw
from tests.simulation.memory_judge import Registers, TestsJudge
from tests.simulation.memory_truth import MemoryTruth
from tests.simulation.plan import draw as draw_plain

HERON = profiles.load("heron")
BANK, K7 = Range(0x1000, 0x1FFF), next(chip for chip in HERON.chips if chip.position == "K7")


def judge(*faults: str) -> TestsJudge:
    board = Board(HERON, faults=faults)
    return TestsJudge(board, MemoryTruth(board, HERON, faults))


def said(*pages: Page) -> SurveyReport:
    return SurveyReport("heron", "board:", pages, stretches(HERON, pages), Evidence("survey", ()))


@pytest.mark.parametrize(
    "page",
    [
        Page(0x20, "ram"),
        Page(0x01, "in use"),
        Page(0xFF, "rom"),
        Page(0x60, "floating"),
        Page(0x9F, "skipped"),
        Page(0x20, "not probed"),
    ],
)
def test_what_is_true_of_a_page_is_passed(page):
    assert judge().pages(said(page)) == []


@pytest.mark.parametrize(
    "page",
    [
        Page(0x20, "rom"),
        Page(0x20, "floating"),
        Page(0x20, "faulty"),
        Page(0x20, "mirror", 0x30),
        Page(0xFF, "floating"),
        Page(0x60, "ram"),
        Page(0x60, "rom"),
        Page(0x60, "io"),
        Page(0x20, "skipped"),
    ],
)
def test_what_is_false_of_a_page_is_seen(page):
    assert judge().pages(said(page))


def test_faults_make_other_things_true():
    assert judge("bank-missing:2000-2FFF").pages(said(Page(0x20, "floating"))) == []
    assert judge("bank-missing:2000-2FFF").pages(said(Page(0x20, "ram")))
    assert judge("mirror:1000-1FFF:2000-2FFF").pages(said(Page(0x20, "mirror", 0x10))) == []
    assert judge("stuck:20FF:0:1").pages(said(Page(0x20, "faulty"))) == []
    assert judge("stuck:20FF:0:1").pages(said(Page(0x20, "rom")))


def named(fault: Fault, *faults: str, tested: bool = True) -> bool:
    """Whether the judge objects."""
    return bool(judge(*faults).diagnosis(Diagnosis("pattern", (fault,), ()), tested))


STUCK = Fault(Cause("stuck", (BANK,), (3,), value=0), "certain", 9, 20, (), K7, "certain")
PERHAPS = Fault(Cause("cells", (BANK,), (3,), addresses=(0x1234,)), "possible", 1, 20)


def test_a_false_fault_is_seen_and_a_true_one_is_passed():
    assert named(STUCK) and named(PERHAPS)
    assert named(STUCK, "stuck-chip:K6:0") and not named(STUCK, "stuck-chip:K7:0")
    assert not named(PERHAPS, "stuck-chip:K6:0"), "it is not called certain"
    assert not named(PERHAPS, tested=False) and named(STUCK, tested=False)
    assert not named(Fault(Cause("noise"), "likely", 1, 20))


def test_a_byte_that_is_not_given_back_is_seen_unless_it_is_owed():
    looking = judge()
    before = looking.memory()
    looking.board.poke(0x2000, bytes([before[0x2000] ^ 1]))
    owed = Image.from_bytes(0x2000, bytes([before[0x2000]]))
    assert looking.given_back(before, Image(), {0x2000}, (), False)
    assert looking.given_back(before, Image(), {}, (), True)
    assert not looking.given_back(before, Image(), {}, (), False), "noise may have put it there"
    assert not looking.given_back(before, owed, {0x2000}, (), True)
    assert not looking.given_back(before, Image(), {0x2000}, [0x2000], True)
    wrong = Image.from_bytes(0x2001, bytes([before[0x2001] ^ 1]))
    assert looking.given_back(before, wrong, {0x2000}, [0x2000], False)


def test_registers_that_are_examined_are_seen_and_the_monitors_own_use_is_not():
    board = Board(HERON)
    watching = Registers(board)
    drive(read(Conversation(HERON), (Range(0x0300, 0x0307),)), board)
    assert watching.touched == []
    drive(read(Conversation(HERON), (Range(0x9F00, 0x9F00),)), board)
    assert set(watching.touched) == {0x9F00}


def test_proof_claimed_over_a_one_way_link_is_seen():
    image = Image.from_bytes(0x0300, bytes(4))
    sent = Report("enter", "heron", "board:", image, "none", one_way=True)
    assert one_way.claims(sent) == []
    proven = Report("enter", "heron", "board:", image, "read back", proven=(Range(0x0300, 0x0303),))
    assert one_way.claims(proven)
    stopped = Report("enter", "heron", "board:", image, "none", stopped=True)
    assert one_way.claims(stopped), "it speaks of echoes, as over a link that has them"
    assert one_way.entered(Board(HERON), image)


def test_extras_leave_plain_sessions_as_they_are_and_bring_all_there_is():
    plans = [draw(seed) for seed in range(1500)]
    assert all(draw(seed, plain=True) == draw_plain(seed) for seed in range(50))
    works = {step.work for plan in plans for step in plan.steps}
    assert set(TESTS) <= works and "refused" in works
    assert {area.label for plan in plans for area in plan.built.areas} >= {"more"}
    one_ways = [plan for plan in plans if not plan.machine.link.echo]
    assert 0.02 < len(one_ways) / len(plans) < 0.12
