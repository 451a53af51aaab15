"""A session's steps of `survey` and `diagnose`, and the `resume` after one that was interrupted; judged."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

from formats.image import Image, Range
from linktool.conversation import Conversation
from linktool.exchange import Trace
from linktool.jobs.diagnose import DiagnoseReport
from linktool.jobs.resume import GiveBackReport
from linktool.jobs.survey import SurveyReport
from linktool.render import load_for
from linktool.render.data import data
from linktool.render.text import lines
from linktool.unfinished import file_of, remove
from linktool.verbs.diagnosing import diagnose
from linktool.verbs.resuming import resume
from linktool.verbs.surveying import survey
from tests.simulation.bench import CableBench, values_of
from tests.simulation.cable import Cable
from tests.simulation.judge import Wrong
from tests.simulation.memory_judge import NOT_GIVEN_BACK, TOUCHED, Registers, TestsJudge
from tests.simulation.plan import Step

TestReport = SurveyReport | DiagnoseReport
CLAIM = "emory is as it was before"


class MemoryTests:
    """Carries the tests of one session out. counts and wrongs are the session's own."""

    def __init__(self, judge: TestsJudge, folder: Path, counts: Counter[str], wrongs: list[Wrong]) -> None:
        self.judge, self.folder = judge, folder
        self.counts, self.wrongs = counts, wrongs
        self.registers = Registers(judge.board)
        self.one_fault_a_line = True
        self._file = file_of(folder, judge.truth.machine.name, "board:", False)
        self._before: dict[int, int] = {}
        self._written: dict[int, set[int]] = {}

    @property
    def owing(self) -> bool:
        """Whether a test was ended before it had given everything back, as the disk has it."""
        return self._file.exists()

    def forget(self) -> None:
        """As the user drops what was interrupted."""
        remove(self._file)

    def play(
        self,
        step: Step,
        talk: Conversation,
        cable: Cable,
        trace: Trace | None,
        strays: bool,
        running: bool = False,
    ) -> TestReport:
        """One test, judged. strays: whether no fault may change other bytes than the tested ones. running: a
        routine of linktool's own may have been left at work, and only waking the machine ends it: what counts
        as before is then what is there when the test is about to write."""
        self._before = self.judge.memory()
        bench = CableBench(talk, cable, self.folder, trace)
        if running:
            bench.before_writing = self._begin_here
        self._written = bench.written
        self.registers.touched.clear()
        verb = survey if step.work.startswith("survey") else diagnose
        try:
            report = verb(bench, values_of(step))
        finally:
            self._look_at_registers()
        assert isinstance(report, SurveyReport | DiagnoseReport)
        self._count(report)
        if self.judge.truth.monitor_whole:
            self._judge(step, report, strays)
        return report

    def _begin_here(self) -> None:
        if not self._written:
            self._before = self.judge.memory()

    def resume(self, talk: Conversation, cable: Cable, trace: Trace | None) -> GiveBackReport:
        """Gives back what the last test still owes; judged."""
        report = resume(CableBench(talk, cable, self.folder, trace), {"drop": False})
        assert isinstance(report, GiveBackReport)
        load_for(report)
        lines(report)
        json.dumps(data(report))
        self.counts[f"give back: status {report.exit_status}"] += 1
        if report.ok and self.judge.truth.monitor_whole:
            left = {a for where in report.left for a in range(where.first, where.last + 1)}
            self.counts["give back: bytes left alone"] += len(left)
            look = self.judge.board.bus.look
            apart = [a for a in left if look(a) not in self._written.get(a, ())]
            self._judge_bytes(report.owed, [Range(a, a) for a in apart], False)
        return report

    def _look_at_registers(self) -> None:
        if self.registers.touched and self.judge.truth.monitor_whole and self.one_fault_a_line:
            shown = " ".join(f"{address:04X}" for address in self.registers.touched[:6])
            self.wrongs.append(Wrong(TOUCHED, shown))

    def _count(self, report: TestReport) -> None:
        counts = self.counts
        counts[f"{report.command}: status {report.exit_status}"] += 1
        found = report.diagnoses
        for fault in (fault for each in found for fault in each.faults):
            counts[f"named: {fault.cause.kind}, {fault.confidence}"] += 1
        if isinstance(report, SurveyReport):
            counts.update(f"pages: {page.state}" for page in report.pages)
            counts["bytes borrowed and given back"] += report.restored
            counts.update(f"marches: {'no fault' if each.ok else 'faults'}" for each in report.marches)

    def _judge(self, step: Step, report: TestReport, strays: bool) -> None:
        load_for(report)
        said = "\n".join(lines(report))
        json.dumps(data(report))
        marched: list[Range] = []
        if isinstance(report, SurveyReport):
            self.wrongs.extend(self.judge.pages(report))
            self.wrongs.extend(self.judge.marches(report))
            marched = [*(each.range for each in report.marches), *report.programs_stood]
        for each in report.diagnoses:
            self.wrongs.extend(self.judge.diagnosis(each))
        if CLAIM in said or not step.work.endswith("deep"):
            self._judge_bytes(report.owed, marched, strays)
        if bool(report.owed) != self.owing:
            self.wrongs.append(Wrong(NOT_GIVEN_BACK, f"owed: {len(report.owed)} bytes; kept: {self.owing}"))

    def _judge_bytes(self, owed: Image, marched: list[Range], strays: bool) -> None:
        lost = (address for where in marched for address in range(where.first, where.last + 1))
        self.wrongs.extend(self.judge.given_back(self._before, owed, self._written, lost, strays))
