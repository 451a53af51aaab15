"""One command on several boards at once: each has a bench of its own, and one thread talks to all of them.

A command is written for one bench and waits in `Bench.hold` while its conversation goes on. Here each runs in
a thread, but only one thread is ever awake: a command that reaches `hold` hands its conversation over and
sleeps, and the main thread drives all conversations together (driver.drive_all). So no lock is needed, and a
command need not know that it is not alone.

First every command runs up to its first conversation: what can be refused is refused before any port is
opened. Then the ports are opened, then all goes on. One that fails does not stop the others.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import Any, Generic, TypeVar

from formats.errors import FormatError
from linktool.actions import Note, Talk
from linktool.bench import Bench, Job
from linktool.bench_file import Place
from linktool.commands import Command, Values
from linktool.driver import Outcome, drive_all
from linktool.errors import BAD_INPUT, LinktoolError, PortLost
from linktool.interrupts import interrupts
from linktool.jobs.several import BoardResult, SeveralReport
from linktool.trace import Entry

OWN_FILES = ("trace", "save")
"""Options that name a file to be written: each board has its own, with its number in the name."""

R = TypeVar("R")
Noted = Callable[[int, Note, float], None]
Ended = Callable[[int, BoardResult], None]
Listen = Callable[[Note], None]


def run_several(
    command: Command,
    values: Values,
    places: Sequence[Place],
    noted: Noted | None = None,
    ended: Ended | None = None,
) -> SeveralReport:
    """Carry out `command` on every place; how each ended, in the order of the places.

    noted   is given a board's number, a note of its conversation, and its port's clock
    ended   is given a board's number and its result, as soon as it has one
    """
    errands = [_Errand(command, values, place, number) for number, place in enumerate(places)]
    told = _Teller(errands, ended)
    try:
        for errand in errands:
            errand.begin()
            told.tell()
        waiting = [errand for errand in errands if errand.open()]
        told.tell()
        pairs = [(errand.conversations(), errand.port) for errand in waiting]
        with interrupts() as stop:
            outcomes = drive_all(
                pairs,
                stop=stop,
                notes=lambda at, note, now: _pass_on(waiting[at], note, now, noted, told),
                traces=[errand.bench.passed for errand in waiting],
            )
        for errand, outcome in zip(waiting, outcomes, strict=True):
            errand.finish(outcome)
        told.tell()
    finally:
        for errand in errands:
            errand.abandon()
    return SeveralReport(command.name, tuple(errand.result() for errand in errands))


def _pass_on(errand: _Errand, note: Note, at: float, noted: Noted | None, told: _Teller) -> None:
    errand.take(note, at)
    if noted is not None and not errand.bench.quiet:
        noted(errand.number, note, at)
    told.tell()


class _Teller:
    """Tells of each board once that it has ended."""

    def __init__(self, errands: Sequence[_Errand], ended: Ended | None) -> None:
        self._left, self._ended = list(errands), ended

    def tell(self) -> None:
        for errand in [each for each in self._left if each.done]:
            self._left.remove(errand)
            if self._ended is not None:
                self._ended(errand.number, errand.result())


class _HandOver(Generic[R]):
    """What a sleeping command waits for: the end of its conversation. listen: is given its notes."""

    def __init__(self, job: Job[R], listen: Listen | None) -> None:
        self.job, self.listen = job, listen
        self.ended: SimpleQueue[Outcome[R]] = SimpleQueue()


class _SideBench(Bench):
    """A bench whose conversations are driven by somebody else."""

    def __init__(self, hand_over: Callable[[_HandOver[Any]], None], **settings: Any) -> None:
        super().__init__(**settings)
        self._hand_over = hand_over

    def hold(self, job: Job[R], listen: Listen | None = None) -> R:
        """Hand the conversation over and sleep until it has ended."""
        handed: _HandOver[R] = _HandOver(job, listen)
        self._hand_over(handed)
        try:
            return handed.ended.get().value()
        finally:
            if self.port is not None:
                self._noted(Note("end"), self.port.now())

    def open(self) -> None:
        """Open the port. Raises as `ports.open_port`."""
        if self.port is None:
            self._open(self.machine)

    def noted(self, note: Note, at: float) -> None:
        """A note of the conversation that goes on."""
        self._noted(note, at)

    def passed(self, entry: Entry) -> None:
        """What passed over the port."""
        self._passed(entry)


class _Errand:
    """One command on one board. Its thread and the main thread are never awake at the same time."""

    def __init__(self, command: Command, values: Values, place: Place, number: int) -> None:
        self.place, self.number = place, number
        self.done = False
        own = {key: str(numbered(Path(values[key]), number + 1)) for key in OWN_FILES if values.get(key)}
        self._values = {**values, **own, "port": place.port}
        self._asks: SimpleQueue[_HandOver[Any] | None] = SimpleQueue()
        self.bench = _SideBench(
            self._asks.put,
            port=place.port,
            machine=place.machine or values["machine"],
            trace=self._values["trace"],
            quiet=bool(values["json"]),
        )
        self._command = command
        self._asked: _HandOver[Any] | None = None
        self._report: Any = None
        self._error: Exception | None = None
        self._thread = threading.Thread(target=self._run, name=f"board {place.label}", daemon=True)

    @property
    def port(self) -> Any:
        """The open port."""
        assert self.bench.port is not None
        return self.bench.port

    def _run(self) -> None:
        try:
            self._report = self._command.run(self.bench, self._values)
        except Exception as error:  # it belongs to this board, and is looked at in `result`
            self._error = error
        finally:
            self.bench.close()
            self._asks.put(None)

    def begin(self) -> None:
        """Run up to the first conversation, or to the end."""
        self._thread.start()
        self._next()

    def _next(self) -> None:
        self._asked = self._asks.get()
        self.done = self._asked is None

    def open(self) -> bool:
        """Open the port if there is something to say; whether it is open."""
        while self._asked is not None:
            try:
                self.bench.open()
                return True
            except Exception as error:
                self._answer(Outcome(error=error))
        return False

    def take(self, note: Note, at: float) -> None:
        """A note of this board's conversation."""
        if self._asked is not None and self._asked.listen is not None:
            self._asked.listen(note)
        self.bench.noted(note, at)

    def conversations(self) -> Talk[None]:
        """One conversation after the other, as the command asks for them."""
        while self._asked is not None:
            try:
                if self.bench.talk is None:
                    raise PortLost(f"{self.place.port} was closed")
                ended = yield from self._asked.job(self.bench.talk, self.place.port)
                outcome: Outcome[Any] = Outcome(ended)
            except Exception as error:
                outcome = Outcome(error=error)
            self._answer(outcome)

    def _answer(self, outcome: Outcome[Any]) -> None:
        """Wake the command with the end of its conversation, and sleep until it asks for the next."""
        assert self._asked is not None
        self._asked.ended.put(outcome)
        self._next()

    def finish(self, outcome: Outcome[None]) -> None:
        """The driver has ended. If it gave up on this board, the command is told why."""
        while self._asked is not None:
            self._answer(Outcome(error=outcome.error or PortLost(f"{self.place.port} was given up")))

    def abandon(self) -> None:
        """Nobody may be left asleep."""
        if self._thread.is_alive() or self._asked is not None:
            self.finish(Outcome())
            self._thread.join()

    def result(self) -> BoardResult:
        """How it ended. A mistake of ours is raised here."""
        machine = self._machine_name()
        if self._error is None:
            return BoardResult(
                self.place.label, self.place.port, machine, int(self._report.exit_status), self._report
            )
        if not isinstance(self._error, LinktoolError | FormatError):
            raise self._error
        status = getattr(self._error, "exit_status", BAD_INPUT)
        return BoardResult(self.place.label, self.place.port, machine, status, error=str(self._error))

    def _machine_name(self) -> str:
        try:
            return self.bench.machine.name
        except LinktoolError:
            return self.place.machine


def numbered(path: Path, number: int) -> Path:
    """trace.jsonl -> trace-2.jsonl: a file for each board."""
    return path.with_name(f"{path.stem}-{number}{path.suffix}")
