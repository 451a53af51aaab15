"""What one person has at hand: folders, settings, machine, port, and the talk that goes on over it.

The command line makes a bench for one command; the shell keeps one for the evening. The port is opened
at the first word and kept; opening it again would, on many adapters, reset what hangs on it. All that
comes in is kept in a model of the machine's screen.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from linktool.actions import Note, Talk
from linktool.conversation import Conversation
from linktool.dialect import received_text
from linktool.errors import LinktoolError, PortLost, UsageError
from linktool.folders import Folders, folders, settings
from linktool.machine import Machine, available, load
from linktool.port import Port
from linktool.screen import Screen

if TYPE_CHECKING:
    from linktool.trace import Entry

R = TypeVar("R")
Job = Callable[[Conversation, str], Talk[R]]


class Bench:
    """Machine and port are looked up when they are first needed."""

    def __init__(
        self,
        where: Folders | None = None,
        *,
        port: str | None = None,
        machine: str | None = None,
        trace: str | None = None,
        quiet: bool = False,
    ) -> None:
        self.folders = where or folders()
        self._settings: dict[str, str] | None = None
        self._asked_port, self._asked_machine = port, machine
        self._machine: Machine | None = None
        self._port: Port | None = None
        self._talk: Conversation | None = None
        self._trace_file = trace
        self._trace: Callable[[Entry], None] | None = None
        self._screen: Screen | None = None
        self._kept = ExitStack()
        self.quiet = quiet
        self.watch: Callable[[Note, float], None] | None = None
        self.tick: Callable[[float], None] | None = None
        self.warn: Callable[[str], None] = _to_standard_error
        self._unlogged = False

    @classmethod
    def from_values(cls, values: Mapping[str, Any]) -> Bench:
        """A bench as the common arguments ask for it."""
        return cls(
            port=values["port"], machine=values["machine"], trace=values["trace"], quiet=bool(values["json"])
        )

    def setting(self, name: str) -> str | None:
        if self._settings is None:
            self._settings = settings(self.folders)
        return self._settings.get(name)

    @property
    def port_name(self) -> str:
        """The port asked for. UsageError when none is known."""
        name = self._asked_port or self.setting("port")
        if not name:
            raise UsageError(
                "no port is given",
                "Give --port or set LINKTOOL_PORT; `linktool ports` lists what is there, "
                "and board: is the simulated board",
            )
        return name

    @property
    def asked_port(self) -> str | None:
        """The port that was asked for by name, apart from settings."""
        return self._asked_port

    @property
    def asked_machine(self) -> str | None:
        """The machine that was asked for by name, apart from settings."""
        return self._asked_machine

    def need_port(self) -> None:
        """UsageError when no port is known: to be said before anything else is looked at."""
        assert self.port_name

    @property
    def machine(self) -> Machine:
        """The machine asked for; on a simulated board, the one it plays. UsageError when none is known."""
        if self._machine is None:
            name = self._machine_name()
            if not name:
                known = ", ".join(available(self.folders.machines))
                raise UsageError(
                    "no machine is given", f"Give --machine or set LINKTOOL_MACHINE; known machines: {known}"
                )
            self._machine = load(name, self.folders.machines)
        return self._machine

    @property
    def knows_machine(self) -> bool:
        """Whether a machine is in hand, or one is named somewhere."""
        return self._machine is not None or bool(self._machine_name())

    def _machine_name(self) -> str | None:
        return self._asked_machine or self._played() or self.setting("machine")

    def _played(self) -> str | None:
        name = self._asked_port or self.setting("port") or ""
        if not name.startswith("board:"):
            return None
        options = dict(part.partition("=")[::2] for part in name[6:].lstrip("/").split(",") if part)
        return options.get("machine", "heron")

    def use(self, *, port: str | None = None, machine: str | None = None) -> None:
        """Ask for another port or machine from now on; the port that is open is closed."""
        self.close()
        self._asked_port, self._asked_machine = port or self._asked_port, machine or self._asked_machine
        self._machine = self._screen = None

    def adopt(self, machine: Machine) -> None:
        """Take `machine`, which may stand in no file, as the one in hand. The port stays open where its
        link settings are the same, and is closed otherwise."""
        if self._machine is None or self._machine.link != machine.link or self._port is None:
            self.close()
        else:
            heard = self._talk.now if self._talk else 0.0
            self._talk = Conversation(machine)
            self._talk.now = heard
        self._machine, self._screen = machine, None

    @property
    def screen(self) -> Screen:
        """What the machine's screen shows, as far as it came over the port since it was first opened."""
        if self._screen is None:
            self._screen = Screen(self.machine.screen.columns, self.machine.screen.rows)
        return self._screen

    def hold(self, job: Job[R], listen: Callable[[Note], None] | None = None) -> R:
        """Have a conversation over the port, which is opened if need be, and stays open. `listen` is given
        the job's notes, whether or not somebody watches."""
        from linktool.driver import drive
        from linktool.interrupts import interrupts

        machine = self.machine
        if self._port is None or self._talk is None:
            self._open(machine)
        assert self._port is not None and self._talk is not None
        port = self._port

        def noted(note: Note, at: float) -> None:
            if listen is not None:
                listen(note)
            self._noted(note, at)

        try:
            with interrupts() as stop:
                return drive(
                    job(self._talk, self.port_name), port, stop=stop, notes=noted, trace=self._passed
                )
        finally:
            self._noted(Note("end"), port.now())

    def _open(self, machine: Machine) -> None:
        from linktool.ports import open_port

        asked = machine if self._asked_machine else None
        port = open_port(self.port_name, machine.link, profiles=self.folders.machines, played=asked)
        self._kept.callback(port.close)
        self._port, self._talk = port, Conversation(machine)
        if self._trace_file:
            self.trace_to(self._trace_file)

    def trace_to(self, path: str) -> None:
        """Write every key and character to a file from now on, until the port is closed.
        UsageError when it cannot be written; the port is closed then."""
        from linktool.trace import TraceFile

        self._trace_file = path
        if self._port is None:
            return
        try:
            trace = TraceFile(Path(path), self.port_name, self._port.now())
        except UsageError:
            self.close()
            self._trace_file = None
            raise
        self._kept.callback(trace.close)
        self._trace = trace

    def _passed(self, entry: Entry) -> None:
        if entry.event == "in":
            self.screen.feed(received_text(entry.data, self.machine.link.newline))
        if self._trace is not None:
            self._trace(entry)
        if self.tick is not None and not self.quiet:
            self.tick(entry.at)

    def drop_lost_port(self) -> bool:
        """Close the port if it is gone, so that the next conversation opens it anew; True when it was."""
        if self._port is None:
            return False
        try:
            came = self._port.read(self._port.now())
        except PortLost:
            self.close()
            return True
        if came:
            self.screen.feed(received_text(came, self.machine.link.newline))
        return False

    def _noted(self, note: Note, at: float) -> None:
        if self.watch is not None and not self.quiet:
            self.watch(note, at)

    def now(self) -> datetime:
        """The moment, with its time zone."""
        return datetime.now().astimezone()

    def log(self, command: str, facts: Mapping[str, Any]) -> None:
        """Append an entry to the bench log. That it cannot be written never fails a job: it is said once."""
        from linktool.bench_log import BenchLog, Record

        machine = port = ""
        with suppress(LinktoolError):
            machine = self.machine.name
        with suppress(LinktoolError):
            port = self.port_name
        try:
            record = Record(self.now(), command, machine, port, dict(facts))
            BenchLog.kept_in(self.folders.state).append(record)
        except LinktoolError as error:
            if not self._unlogged:
                self.warn(str(error))
            self._unlogged = True

    @property
    def port(self) -> Port | None:
        """The port if it is open, else None."""
        return self._port

    @property
    def talk(self) -> Conversation | None:
        """The talk that goes on over the open port, else None."""
        return self._talk

    def close(self) -> None:
        """Close the port; the next conversation opens it anew."""
        self._kept.close()
        self._kept = ExitStack()
        self._port = self._talk = None
        self._trace = None


def _to_standard_error(text: str) -> None:
    """Where warnings go until a front end takes them."""
    shown = "".join(c if c.isprintable() else "." for c in text)
    sys.stderr.write(f"linktool: {shown}\n")
    sys.stderr.flush()
