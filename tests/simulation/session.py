"""One session from its plan: the board, the steps, what a person does in between, and the judge."""

from __future__ import annotations

import json
import os
import tempfile
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from formats.image import Image
from linktool.actions import Note, Talk
from linktool.conversation import Conversation
from linktool.diagnosis import diagnose
from linktool.driver import drive
from linktool.evidence import from_check
from linktool.jobs.report import Report, RunReport
from linktool.jobs.resident_check import check
from linktool.jobs.resident_enter import enter
from linktool.jobs.resident_read import Via, read
from linktool.jobs.resume import resume_entry
from linktool.jobs.run import run
from linktool.render.data import data
from linktool.render.text import lines
from linktool.trace import Entry
from linktool.unfinished import Keeper, Unfinished, file_of, load
from tests.simulation import one_way
from tests.simulation.cable import Cable, Hung, Killed
from tests.simulation.extras import TESTS, draw
from tests.simulation.memory_tests import MemoryTests
from tests.simulation.person import Outcome, Person
from tests.simulation.plan import LARGEST, Plan, Step
from tests.simulation.wire import Disturbance

MENDS, RESUMES = Step("enter"), Step("resume")
GOES_ON = (None, 3, 130)
"""After an entry that ended so, or was killed, a person may ask to go on."""
MEMORY = "/dev/shm" if os.path.isdir("/dev/shm") else None
"""Where the simulated disk is: in memory, where there is such a place."""
BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
Listener = Callable[[Entry], None]

QUIET_S, WAITS_S = 3.0, 1200.0
"""How long a person waits, after the reset key, for what still comes over a slow wire."""


def play(seed: int, listen: Listener | None = None, largest: int = LARGEST, plain: bool = False) -> Outcome:
    """The session of that seed, from power-up to its end; `plain` as in extras.draw."""
    return Session(draw(seed, largest, plain), listen).play()


class Session(Person):
    """A person, a host and a board. The host's disk outlives the host: `resume` finds what was kept there."""

    def __init__(self, plan: Plan, listen: Listener | None = None) -> None:
        super().__init__(plan)
        self.listen = listen

    def play(self) -> Outcome:
        """All steps, then the link made whole and a last enter."""
        counts = self.outcome.counts
        counts["sessions"] += 1
        for fault in self.plan.memory_faults:
            counts["memory: " + fault.partition(":")[0]] += 1
        try:
            with tempfile.TemporaryDirectory(prefix="linktool-simulation-", dir=MEMORY) as folder:
                self.disk = Path(folder)
                if any(step.work in TESTS for step in self.plan.steps):
                    counts, wrongs = self.outcome.counts, self.outcome.wrongs
                    self.tests = MemoryTests(self.tests_judge, self.disk / "tests", counts, wrongs)
                self._steps()
        except Hung as error:
            self._wrong("hung", str(error))
        except Exception:
            self._wrong("traceback", traceback.format_exc())
        counts.update(self.wire.counts)
        counts["fickle cells that answered right"] += self.judge.fickle
        counts["keys struck"] += self.board.adapter.sent
        counts["characters printed"] += self.board.display.printed
        self.outcome.virtual_s = self.board.now()
        return self.outcome

    def _steps(self) -> None:
        for step in self.plan.steps:
            status = self._step(step)
            if step.work.startswith("enter") and status in GOES_ON and self.random.random() < 0.6:
                self._step(RESUMES)
        self._last_step()

    # ---- a step -----------------------------------------------------------------------------------

    def _step(self, step: Step) -> int | None:
        """One command; its exit status, None when the host was killed in the middle."""
        if self.talk is None or step.fresh:
            self.talk = Conversation(self.plan.machine)
        keeper = self._keeper(step)
        if step.work == "resume" and keeper is None:
            return 0
        if not self.plan.machine.link.echo:
            return self._one_way(step)
        if step.work in TESTS:
            return self._test(step)
        cable = Cable(self.board, step.moments)
        before = self.judge.snapshot()
        report: Any = None

        def noted(note: Note, at: float) -> None:
            if keeper is not None:
                keeper.take(note.topic, note.facts)

        try:
            report = drive(self._job(step), cable, stop=cable.stop, notes=noted, trace=self.listen)
        except Killed:
            self._host_is_dead()
        if keeper is not None and report is not None:
            keeper.end(not (report.stopped or report.lost), report.typed)
        self._happened(cable)
        status = None if report is None else self._judged(step, report)
        self.outcome.told.append(f"{step.work}: {'killed' if status is None else f'status {status}'}")
        if step.work == "run":
            self.ran = True
        else:
            self._strays(step, before)
        self._between(step, status)
        return status

    def _test(self, step: Step) -> int | None:
        """A survey or a diagnosis; what it still owes then is given back, or dropped."""
        assert self.talk is not None and self.tests is not None
        if self.ran:
            self.board.reset()  # nobody tests memory while a program runs
            self._listen_for(1.0)
        cable, report = Cable(self.board, step.moments), None
        try:
            strays = self._no_strays()
            self.tests.one_fault_a_line = self._one_fault_a_line()
            report = self.tests.play(step, self.talk, cable, self.listen, strays, self.resident)
        except Killed:
            self._host_is_dead()
        self._happened(cable)
        status = None if report is None else report.exit_status
        self.outcome.told.append(f"{step.work}: {'killed' if status is None else f'status {status}'}")
        if status == 130 and not self.plan.memory_faults:
            self._try_prompt()
        self._between(step, status)
        for _attempt in range(2):
            if self.tests.owing and self.random.random() < 0.8:
                self.talk = self.talk or Conversation(self.plan.machine)
                given = self.tests.resume(self.talk, Cable(self.board), self.listen)
                self.outcome.told.append(f"give back: status {given.exit_status}")
                self._between(RESUMES, given.exit_status)
        self.tests.forget()
        return status

    def _one_way(self, step: Step) -> int | None:
        assert self.talk is not None
        outcome, cable = self.outcome, Cable(self.board, step.moments)
        if step.work == "refused":
            outcome.wrongs += one_way.refused(step, self.talk, cable, self.disk, self.listen)
            return 0
        self._listen_for(
            1.0
        )  # nothing tells linktool that the machine is ready: the person looks at its screen
        report = None
        try:
            report = drive(
                one_way.job(step, self.talk, self.plan.image), cable, stop=cable.stop, trace=self.listen
            )
        except Killed:
            self._host_is_dead()
        self._happened(cable)
        status = None if report is None else report.exit_status
        ended = "killed" if status is None else f"status {status}"
        outcome.told.append(f"one-way {step.work}: {ended}")
        outcome.counts[f"one-way: {step.work.split()[0]}, {ended}"] += 1
        if report is not None:
            outcome.wrongs += one_way.claims(report)
        whole = self.wire.whole or self.plan.disturbance == Disturbance()
        whole = whole and not self.plan.memory_faults and not cable.happened["reset"]
        if step.work != "run" and status == 0 and whole and not self.ran:
            self._listen_for(1.0)
            outcome.wrongs += one_way.entered(self.board, self.plan.image)
            outcome.counts["one-way: entered rightly without a fault"] += 1
        if step.work != "run" and status == 130 and whole and not self.ran:
            self._try_prompt()
        self.ran = self.ran or step.work == "run"
        self._between(step, status)
        return status

    def _keeper(self, step: Step) -> Keeper | None:
        """Keeps an entry on the disk, as the verbs do; for `resume` None where nothing was interrupted."""
        if not step.work.startswith(("enter", "resume")):
            return None
        name, image = self.plan.machine.name, self.plan.image
        path = file_of(self.disk, name, "board:", True)
        work = Unfinished("enter", name, "board:", BEGAN, image)
        if step.work == "resume":
            found = load(path)
            if found is None:
                return None
            work = found
            self.outcome.counts["entries gone on with"] += 1
        return Keeper(path, work, self.board.now)

    def _job(self, step: Step) -> Talk[Any]:
        talk, image = self.talk, self.plan.image
        assert talk is not None
        if step.work.endswith(("receiver", "checker")):
            self.resident = True
        if step.work.startswith("check"):
            return check(talk, image, "board:", "checker" if step.work.endswith("checker") else "read")
        if step.work == "read":
            via: Via = ("auto", "dump", "reader")[self.plan.seed % 3]  # type: ignore[assignment]
            self.resident = self.resident or via == "reader"
            return read(talk, tuple(segment.range for segment in image.segments), "board:", via)
        if step.work == "run":
            return run(talk, step.address, 0.5, "board:")
        if step.work == "resume":
            work = load(file_of(self.disk, self.plan.machine.name, "board:", True))
            assert work is not None
            return resume_entry(talk, work.image, work.claimed, "board:")
        return enter(
            talk,
            image,
            "board:",
            check=not step.work.endswith("without check"),
            via="receiver" if step.work.endswith("receiver") else "typed",
        )

    def _judged(self, step: Step, report: Report | RunReport) -> int:
        lines(report)
        json.dumps(data(report))
        status = report.exit_status
        counts = self.outcome.counts
        if isinstance(report, RunReport):
            counts[f"run: status {status}"] += 1
            return status
        self.outcome.wrongs.extend(self.judge.claims(report))
        self._explained(report)
        if status == 0:
            kind = "read" if report.command == "read" else "proven" if report.proof != "none" else "sent"
            if kind == "proven":
                kind = f"{kind}, {report.proof}"
            counts[f"ended: {kind}"] += 1
        else:
            counts["ended: " + {1: "differences told", 3: "link", 130: "stopped"}[status]] += 1
        counts["bytes claimed proven"] += sum(len(where) for where in report.proven)
        if report.stopped and not report.lost and not self.plan.memory_faults:
            self._try_prompt()
        return status

    def _explained(self, report: Report) -> None:
        """What `diagnose` would say of a check that found something wrong."""
        if report.command == "read" or not report.differences or not self.truth.monitor_whole:
            return
        held = ((each.first, report.image.slice(each).segments[0].data) for each in report.proven)
        proven = Image.from_runs(held)
        evidence = from_check("check", proven, report.differences, report.noise)
        self.outcome.counts["checks explained"] += 1
        found = diagnose(self.plan.machine, evidence)
        self.outcome.wrongs.extend(self.tests_judge.diagnosis(found, tested=False))

    def _strays(self, step: Step, before: bytes) -> None:
        """Bytes changed that were to be left alone."""
        apart = self.plan.image if step.work.startswith(("enter", "resume")) else Image()
        for each in self.plan.machine.reserved:
            apart = apart.overlay(Image.from_bytes(each.range.first, bytes(len(each.range))), "replace")
        strays = self.judge.changed_since(before, apart)
        if not strays:
            return
        self.outcome.counts["steps with strays"] += 1
        if self._no_strays():
            shown = " ".join(f"{address:04X}" for address in strays[:8])
            self._wrong("strays", f"{step.work}: {len(strays)} bytes: {shown}; resets {self.resets}")

    def _last_step(self) -> None:
        """The link is whole again, the reset key is pressed: enter must come to a good end."""
        self.wire.mend()
        self.board.restore()
        self.board.reset()
        end = self.board.now() + (0 if self.plan.memory_faults else WAITS_S)  # else it may never end
        while self._listen_for(QUIET_S) and self.board.now() < end:
            pass
        status = self._step(MENDS)
        counts = self.outcome.counts
        counts[f"afterwards: status {status}"] += 1
        if status == 0 and self.plan.machine.link.echo is False:
            return
        if status != 0 and not self.plan.memory_faults:
            self._wrong("no recovery", f"enter on a whole link ended with status {status}")
