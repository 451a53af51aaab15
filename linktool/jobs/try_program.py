"""programs test: enter a program of the library, prove it, run it, answer its prompts, judge its output."""

from __future__ import annotations

from dataclasses import dataclass, field

from linktool.actions import Talk
from linktool.beat import clock
from linktool.calibration import prepare
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import DIFFERENT, DONE, LINK_FAILED, STOPPED, NoAnswer
from linktool.expectation import Verdict, judge
from linktool.jobs.attempt import withdraw
from linktool.jobs.check import check
from linktool.jobs.enter import enter
from linktool.jobs.report import Report
from linktool.jobs.watching import Output, Prompted, watch
from linktool.program_build import Built

GRACE_S = 5.0
"""Allowed beyond the time a program should take."""


@dataclass(frozen=True)
class TrialReport:
    """How one program did. verdict: what its output says; None where it was not run.
    refused: why it could not be built for this machine."""

    name: str
    question: str
    machine: str
    port: str
    entered: Report | None = None
    output: str = ""
    verdict: Verdict | None = None
    remarks: tuple[str, ...] = ()
    left_wrong: int = 0
    refused: str = ""
    stopped: bool = False
    lost: str = ""
    command: str = "programs"

    @property
    def ok(self) -> bool:
        return self.exit_status == DONE

    @property
    def exit_status(self) -> int:
        if self.lost or (self.entered and self.entered.lost):
            return LINK_FAILED
        if self.stopped or (self.entered and self.entered.stopped):
            return STOPPED
        good = self.verdict is not None and self.verdict.ok and not self.left_wrong
        return DONE if good else DIFFERENT


@dataclass(frozen=True)
class RoundReport:
    """Several programs, one after the other."""

    trials: tuple[TrialReport, ...]
    command: str = "programs"

    @property
    def exit_status(self) -> int:
        return max((trial.exit_status for trial in self.trials if not trial.refused), default=DONE)


@dataclass
class _Run:
    output: Output = field(default_factory=Output)
    stopped: bool = False
    lost: str = ""


def try_program(talk: Conversation, built: Built, port: str = "") -> Talk[TrialReport]:
    """The whole trial. Never raises for the link: the report says it."""
    program, machine = built.program, talk.machine
    head = (program.name, program.question, machine.name, port)
    entered = yield from enter(talk, built.image, port)
    if not entered.ok:
        return TrialReport(*head, entered)
    run = _Run()
    try:
        yield from prepare(talk)
        yield from talk.run(built.start)
        yield from talk.note("started", address=built.start)
        answers = [Prompted(answer.after, answer.keys) for answer in built.answers]
        yield from watch(
            talk, built.seconds + GRACE_S, run.output, answers, lambda text: judge(built, text).known
        )
    except Stopped:
        run.stopped = True
        run.lost = yield from withdraw(talk)
    except (Gone, NoAnswer) as error:
        run.lost = str(error)
    text = run.output.text
    if run.stopped or run.lost:
        return TrialReport(*head, entered, text, stopped=run.stopped, lost=run.lost)
    left_wrong = 0
    if built.leaves:
        left = yield from check(talk, built.leaves, port)
        left_wrong = len(left.differences)
        run.lost, run.stopped = left.lost, left.stopped
    return TrialReport(
        *head,
        entered,
        text,
        judge(built, text),
        _measured(built, run.output, machine.clock_hz),
        left_wrong,
        stopped=run.stopped,
        lost=run.lost,
    )


def _measured(built: Built, output: Output, stated_hz: float) -> tuple[str, ...]:
    """What the moments of its beat say of the processor's clock."""
    beat = built.program.beat
    if beat is None:
        return ()
    came = zip(output.arrivals_s, output.text, strict=True)
    found = clock(beat, [at for at, character in came if character == beat.character])
    return () if found is None else (found.sentence(stated_hz),)
