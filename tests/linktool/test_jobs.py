"""enter, check, read and run against the hand-written monitor: reports, refusals, interruption."""

from __future__ import annotations

from dataclasses import replace

import pytest

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.actions import Note
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.errors import RefusedError
from linktool.jobs.check import check
from linktool.jobs.enter import enter, refuse_harm
from linktool.jobs.read import read
from linktool.jobs.report import Finding
from linktool.jobs.run import run
from tests.linktool.fake_monitor import FakeMonitor

HERON = profiles.load("heron")
IMAGE = Image.from_bytes(0x0280, bytes(range(200)))


def holding(image: Image, **settings: object) -> FakeMonitor:
    monitor = FakeMonitor(**settings)  # type: ignore[arg-type]
    monitor.memory.update(image.cells())
    return monitor


def test_enter_types_reads_back_and_says_proven():
    monitor = FakeMonitor()
    report = drive(enter(Conversation(HERON), IMAGE, "fake:"), monitor)
    assert report.ok and report.exit_status == 0
    assert report.proof == "read back"
    assert report.proven == (Range(0x0280, 0x0347),)
    assert Image.from_cells(monitor.memory.items()) == IMAGE
    assert report.effort.lines_retyped == 0 and report.effort.wrong == 0


def test_enter_without_check_claims_nothing():
    report = drive(enter(Conversation(HERON), IMAGE, "fake:", check=False), FakeMonitor())
    assert report.ok and report.proof == "none" and report.proven == ()
    assert report.typed == (Range(0x0280, 0x0347),)


class StuckMonitor(FakeMonitor):
    """Bit 3 of one cell always reads 0."""

    STUCK = 0x0290

    def _answer(self, line: str) -> str:
        answer = super()._answer(line)
        if self.STUCK in self.memory:
            self.memory[self.STUCK] &= 0xF7
        return answer


def test_a_stuck_cell_is_listed_after_a_bounded_number_of_rounds():
    image = Image.from_bytes(0x0280, bytes([0xFF]) * 64)
    monitor = StuckMonitor()
    report = drive(enter(Conversation(HERON), image, "fake:"), monitor)
    assert report.exit_status == 1 and not report.ok
    assert report.differences == (Finding(0x0290, 0xFF, 0xF7, "memory"),)
    assert report.proven == (Range(0x0280, 0x028F), Range(0x0291, 0x02BF))
    assert sum(address == 0x0290 for address, _ in monitor.deposited) == 3


def test_check_tells_memory_from_the_link():
    wrong = Image.from_bytes(0x0280, bytes(range(200))).overlay(Image.from_bytes(0x0300, b"\xee"), "replace")
    hits = {"left": 1}

    def once(number: int, character: str) -> str:
        if number > 400 and character == "A" and hits["left"]:
            hits["left"] = 0
            return "B"
        return character

    report = drive(check(Conversation(HERON), IMAGE, "fake:"), holding(wrong, print_fault=once))
    assert report.exit_status == 1
    assert report.differences == (Finding(0x0300, 0x80, 0xEE, "memory"),)
    assert report.noise == 1


class FickleMonitor(FakeMonitor):
    """One cell reads differently at each reading."""

    count = 0

    def _answer(self, line: str) -> str:
        self.count += 1
        if "-" in line or line.startswith("2"):
            self.memory[0x0290] = self.count
        return super()._answer(line)


def test_check_calls_an_unsteady_cell_unsteady():
    monitor = FickleMonitor()
    monitor.memory.update(IMAGE.cells())
    report = drive(check(Conversation(HERON), IMAGE, "fake:"), monitor)
    assert [(f.address, f.kind) for f in report.differences] == [(0x0290, "unsteady")]


def test_read_gives_what_is_there():
    report = drive(read(Conversation(HERON), (Range(0x0290, 0x02A1),), "fake:"), holding(IMAGE))
    assert report.image == IMAGE.slice(Range(0x0290, 0x02A1))


def test_read_asks_again_for_a_spoilt_row():
    lost = {"left": 1}

    def once(number: int, character: str) -> str:
        if number > 100 and character == "C" and lost["left"]:
            lost["left"] = 0
            return ""
        return character

    report = drive(read(Conversation(HERON), (Range(0x0280, 0x0347),), "f"), holding(IMAGE, print_fault=once))
    assert report.image == IMAGE
    assert report.effort.wrong >= 1


def test_run_shows_what_is_printed_and_sees_the_prompt_again():
    report = drive(run(Conversation(HERON), 0x0280, 5.0, "fake:"), FakeMonitor())
    assert report.output == "HELLO FROM THE BENCH\r\r="
    assert report.back_at_prompt and report.exit_status == 0
    assert report.effort.seconds < 3


# ---- interruption -----------------------------------------------------------------------------


def stop_after(done: int, phase: str) -> tuple[dict[str, int], object]:
    wish = {"times": 0}

    def notes(note: Note, at: float) -> None:
        if note.topic == "progress" and note.facts["phase"] == phase and note.facts["done"] >= done:
            wish["times"] = 1

    return wish, notes


def test_ctrl_c_while_typing_leaves_the_monitor_at_its_prompt():
    wish, notes = stop_after(80, "enter")
    monitor = FakeMonitor()
    report = drive(
        enter(Conversation(HERON), IMAGE, "fake:"), monitor, stop=lambda: wish["times"], notes=notes
    )  # type: ignore[arg-type]
    assert report.exit_status == 130 and report.stopped
    assert report.proven == () and report.typed[0].first == 0x0280
    assert monitor.keys.endswith("\x1b")
    assert set(monitor.deposited) <= set(IMAGE.cells())


def test_ctrl_c_while_checking_says_what_is_proven():
    image = Image.from_bytes(0x0300, bytes(600))
    wish, notes = stop_after(256, "check")
    monitor = holding(image)
    report = drive(check(Conversation(HERON), image, "f"), monitor, stop=lambda: wish["times"], notes=notes)  # type: ignore[arg-type]
    assert report.exit_status == 130
    assert report.proven == (Range(0x0300, 0x03FF),)
    assert monitor.keys.endswith("\x1b")


def test_a_second_ctrl_c_does_not_wait_for_the_machine():
    wish, notes = stop_after(80, "enter")
    report = drive(
        enter(Conversation(HERON), IMAGE, "f"), FakeMonitor(), stop=lambda: 2 * wish["times"], notes=notes
    )  # type: ignore[arg-type]
    assert report.exit_status == 3 and "stopped at once" in report.lost


@pytest.mark.parametrize("at_s", [0.0, 0.5, 1.2, 3.0, 9.0, 14.0, 20.0])
def test_a_cable_pulled_at_any_time_is_told_with_what_is_proven(at_s):
    class Pulled(FakeMonitor):
        def read(self, until: float) -> bytes:
            self.cut = self.cut or self._now >= at_s
            return super().read(until)

    monitor = Pulled()
    report = drive(enter(Conversation(HERON), IMAGE, "fake:"), monitor)
    assert report.exit_status == 3
    assert "the cable was pulled" in report.lost
    for part in report.proven:
        for address in range(part.first, part.last + 1):
            assert monitor.memory[address] == IMAGE.get(address)


# ---- one way ----------------------------------------------------------------------------------


def test_a_one_way_link_types_with_delays_and_claims_nothing():
    one_way = replace(HERON, link=replace(HERON.link, echo=False, pacing="timed"))
    monitor = FakeMonitor()
    report = drive(enter(Conversation(one_way), IMAGE, "fake:"), monitor)
    assert report.ok and report.proof == "none" and report.proven == ()
    assert Image.from_cells(monitor.memory.items()) == IMAGE
    assert monitor.overruns == 0


# ---- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "words"),
    [
        (0x0270, "0270-027F is in line-buffer (the monitor's line buffer)"),
        (0x00F8, "00F8-00FF is in workspace (the monitor's workspace); 0100-0107 is in stack"),
        (0xFF00, "FF00-FF0F is in rom (ROM: monitor ROM)"),
        (0x3FF8, "4000-4007 is in none (a hole in the memory map: nothing fitted)"),
        (0x9F00, "9F00-9F03 is in io"),
    ],
)
def test_what_would_harm_is_refused_with_the_areas_named(first, words):
    with pytest.raises(RefusedError) as caught:
        refuse_harm(HERON, Image.from_bytes(first, bytes(16)))
    assert words in str(caught.value)
    assert caught.value.exit_status == 2


def test_force_allows_the_area_named_and_no_other():
    image = Image.from_bytes(0x00F8, bytes(16))
    with pytest.raises(RefusedError, match="is in stack"):
        refuse_harm(HERON, image, ("workspace",))
    refuse_harm(HERON, image, ("workspace", "stack"))
    with pytest.raises(RefusedError, match=r"has no such area\. Its areas: workspace, stack"):
        refuse_harm(HERON, image, ("everything",))


def test_an_empty_image_is_refused():
    with pytest.raises(RefusedError, match="nothing to enter"):
        refuse_harm(HERON, Image())
