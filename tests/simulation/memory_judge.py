"""Surveys and diagnoses against the truth: what a page is, what is named as bad, what is given back.

What counts as fair stands in the package's docstring.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable
from dataclasses import dataclass, field
from functools import cached_property

from formats.image import Image
from linktool.board.board import Board
from linktool.diagnosis import Diagnosis
from linktool.jobs.survey import SurveyReport
from linktool.map_check import Stretch
from linktool.probes import PAGE, probes_for
from tests.simulation.judge import Wrong
from tests.simulation.memory_truth import MemoryTruth

FALSE_PAGE = "survey: false claim"
NOT_GIVEN_BACK = "restored bytes wrong"
FALSE_FAULT = "diagnosis: false fault"
TOUCHED = "I/O touched"
RULES = (FALSE_PAGE, NOT_GIVEN_BACK, FALSE_FAULT, TOUCHED)


@dataclass
class Registers:
    """Sees who reads and writes I/O registers: the monitor and programs name a register in the instruction
    itself, while an examine or a deposit reaches it through a pointer. touched: those reached so."""

    board: Board
    touched: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        bus = self.board.bus
        for address, reader in bus.readers.items():
            bus.readers[address] = self._watched_reader(address, reader)
        for address, writer in bus.writers.items():
            bus.writers[address] = self._watched_writer(address, writer)

    def _watched_reader(self, address: int, reader: Callable[[], int]) -> Callable[[], int]:
        def read() -> int:
            self._look(address)
            return reader()

        return read

    def _watched_writer(self, address: int, writer: Callable[[int], None]) -> Callable[[int], None]:
        def write(value: int) -> None:
            self._look(address)
            writer(value)

        return write

    def _look(self, address: int) -> None:
        at = self.board.processor.core.pc
        cells = self.board.bus.cells
        if cells[at] | cells[(at + 1) & 0xFFFF] << 8 != address:
            self.touched.append(address)


class TestsJudge:
    """Looks at the board from outside, as Judge does."""

    __test__ = False

    def __init__(self, board: Board, truth: MemoryTruth) -> None:
        self.board, self.truth = board, truth

    @cached_property
    def _ram(self) -> list[int]:
        ram = (area.range for area in self.board.machine.areas if area.kind == "ram")
        cells = (address for where in ram for address in range(where.first, where.last + 1))
        return [a for a in cells if not self.truth.monitors(a) and not self.truth.fickle(a)]

    def memory(self) -> dict[int, int]:
        """What every address of RAM gives the processor, but for the monitor's own and for fickle cells."""
        look = self.board.bus.look
        return {address: look(address) for address in self._ram}

    def given_back(
        self, before: dict[int, int], owed: Image, written: Container[int], lost: Iterable[int], strays: bool
    ) -> list[Wrong]:
        """Bytes that are not as before, and of which the report does not say so. written: by the test, as it
        told. lost: those that are said to be lost. strays: whether others must be as before as well."""
        after, apart = self.memory(), set(lost)
        owing = {self.board.bus.place(a): value for a, value in owed.cells()}
        wrong = []
        for address, value in before.items():
            if after[address] == value or address in apart:
                continue
            if owing.get(self.board.bus.place(address)) != value and (strays or address in written):
                wrong.append(f"{address:04X} held {value:02X}, holds {after[address]:02X}")
        for address, value in owed.cells():
            if before.get(address, value) != value:
                wrong.append(f"{address:04X} held {before[address]:02X}, said to have held {value:02X}")
        return [Wrong(NOT_GIVEN_BACK, ", ".join(wrong[:6]))] if wrong else []

    def pages(self, report: SurveyReport) -> list[Wrong]:
        """What a survey says of pages, and of stretches that it joined them to."""
        numbers = [page.number for page in report.pages]
        tried = {
            address // PAGE: address
            for probe in probes_for(self.truth.machine, numbers)
            for address in (probe.range.first, probe.range.last)
        }
        wrong = []
        for page in report.pages:
            if page.state != "not probed" and not self.truth.page_is(page, tried[page.number]):
                seen = f"{page.state}{'' if page.of is None else f' of {page.of:02X}'}"
                wrong.append(f"page {page.number:02X} said to be {seen}")
        if self.truth.healthy:
            wrong += [str(each) for each in report.stretches if self._stretch_is_false(each)]
        return [Wrong(FALSE_PAGE, ", ".join(wrong[:6]))] if wrong else []

    def marches(self, report: SurveyReport) -> list[Wrong]:
        """Faults that a march is said to have printed where there are none."""
        wrong = [str(line) for each in report.marches for line in each.lines if self.truth.healthy]
        return [Wrong(FALSE_FAULT, ", ".join(wrong[:6]))] if wrong else []

    def _stretch_is_false(self, stretch: Stretch) -> bool:
        """A verdict on a board without a fault that holds at least what its profile says."""
        return stretch.verdict == "wrong"

    def diagnosis(self, found: Diagnosis, tested: bool = True) -> list[Wrong]:
        """Faults that are named. tested: memory was written for it just before; after a check it may simply
        hold something else, and only what is called certain is judged."""
        named = [fault for fault in found.faults if fault.cause.kind != "noise"]
        wrong = []
        if self.truth.healthy and tested:
            wrong = [f"{each.confidence} {each.cause}, and the board is healthy" for each in named]
            wrong += [f"{found.unplaced} wrong bytes where no memory is"] if found.unplaced else []
        for fault in named:
            if fault.chip and fault.chip_confidence == "certain":
                if fault.chip.position not in self.truth.bad_chips():
                    wrong.append(f"chip {fault.chip.position} certain, bad: {self.truth.bad_chips()}")
            elif fault.confidence == "certain" and not self.truth.explains(fault.cause):
                wrong.append(f"certain {fault.cause}, true: {self.truth.faults}")
        return [Wrong(FALSE_FAULT, ", ".join(wrong[:6]))] if wrong else []
