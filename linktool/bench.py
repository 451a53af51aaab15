"""What one person has at hand: folders, settings, machine, port, and the talk that goes on over it.

The command line makes a bench for one command; the shell keeps one for the evening. The port is opened
at the first word and kept; opening it again would, on many adapters, reset what hangs on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from linktool.actions import Note, Talk
from linktool.conversation import Conversation
from linktool.errors import UsageError
from linktool.folders import Folders, folders, settings
from linktool.machine import Machine, available, load
from linktool.port import Port

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
        self._kept = ExitStack()
        self.quiet = quiet
        self.watch: Callable[[Note, float], None] | None = None

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
    def machine(self) -> Machine:
        """The machine asked for; on a simulated board, the one it plays. UsageError when none is known."""
        if self._machine is None:
            name = self._asked_machine or self._played() or self.setting("machine")
            if not name:
                known = ", ".join(available(self.folders.machines))
                raise UsageError(
                    "no machine is given", f"Give --machine or set LINKTOOL_MACHINE; known machines: {known}"
                )
            self._machine = load(name, self.folders.machines)
        return self._machine

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
        self._machine = None

    def hold(self, job: Job[R]) -> R:
        """Have a conversation over the port, which is opened if need be, and stays open."""
        from linktool.driver import drive
        from linktool.interrupts import interrupts

        machine = self.machine
        if self._port is None or self._talk is None:
            self._open(machine)
        assert self._port is not None and self._talk is not None
        with interrupts() as stop:
            return drive(
                job(self._talk, self.port_name), self._port, stop=stop, notes=self._noted, trace=self._trace
            )

    def _open(self, machine: Machine) -> None:
        from linktool.ports import open_port

        port = open_port(self.port_name, machine.link)
        self._kept.callback(port.close)
        if self._trace_file:
            from linktool.trace import TraceFile

            trace = TraceFile(Path(self._trace_file), self.port_name, port.now())
            self._kept.callback(trace.close)
            self._trace = trace
        self._port, self._talk = port, Conversation(machine)

    def _noted(self, note: Note, at: float) -> None:
        if self.watch is not None and not self.quiet:
            self.watch(note, at)

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
