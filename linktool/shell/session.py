"""The shell without its prompt: a line in, what it did out. It keeps the bench, and what is in hand.

Its own verbs (own_verbs.py) are done here; all others come from the table of commands. Reports and errors
are shown as on the command line. The prompt and the bottom line are made of what is remembered: they never
touch the port.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TextIO

from formats.errors import FormatError
from formats.image import hex4
from linktool.bench import Bench
from linktool.commands import Command, Values
from linktool.errors import DONE, STOPPED, LinkError, LinktoolError, UsageError
from linktool.own_fault import kept
from linktool.render.progress import Progress
from linktool.render.terminal import Terminal
from linktool.shell import help as helping
from linktool.shell.completion import Completion, complete
from linktool.shell.line import words
from linktool.shell.lists import Lists
from linktool.shell.memory import InHand, after
from linktool.shell.own_verbs import VERBS, find_verb
from linktool.shell.reading import read_words


@dataclass(frozen=True)
class Result:
    """exit_status: as on the command line. leave: the user is done. report: what the command returned."""

    exit_status: int = DONE
    leave: bool = False
    report: object = None


class Shell:
    """out and err: where reports and errors go. now: the wall clock, for "proven 21:14"."""

    def __init__(
        self,
        bench: Bench,
        out: TextIO | None = None,
        err: TextIO | None = None,
        now: Callable[[], datetime] = datetime.now,
    ) -> None:
        self.bench = bench
        self.hand: InHand | None = None
        self._out, self._err, self._now = out or sys.stdout, err or sys.stderr, now
        self._json = bench.quiet
        self._progress = Progress(lambda: bench.talk, self._out, self._err)
        bench.watch, bench.tick = self._progress.watch, self._progress.tick
        self._lists = Lists(bench)
        self._own = {
            "help": self._help,
            "port": self._port,
            "machine": self._machine,
            "image": self._image,
            "quit": self._quit,
        }

    # ---- one line -----------------------------------------------------------------------------

    def execute(self, line: str) -> Result:
        """Do what the line says and show what came of it. Never raises for the user's mistakes."""
        verb = ""
        try:
            given = words(line)
            if given[:1] == ["linktool"]:
                given = given[1:]
            if not given:
                return Result()
            command = find_verb(given[0])
            verb = command.name
            return self._run(command, given[1:])
        except (LinktoolError, FormatError) as error:
            self._progress.end()
            status = self._terminal().complain(error, verb)
            if isinstance(error, LinkError):
                self._let_go_of_lost_port()
            return Result(status)
        except KeyboardInterrupt:
            self._progress.end()
            if self._err.isatty():
                self._err.write("\n")  # the terminal has shown ^C
            return Result(self._terminal().complain(LinktoolError("stopped"), verb, STOPPED))
        except Exception as error:  # a fault of our own: the evening goes on
            self._progress.end()
            return Result(self._terminal().complain(kept(error, self.bench.folders.state), verb))
        finally:
            self.bench.quiet = self._json

    def _run(self, command: Command, given: list[str]) -> Result:
        values = read_words(command, given, self.hand.held() if self.hand else {})
        self._take_common(values)
        own = self._own.get(command.name)
        if own is not None:
            return own(values)
        try:
            report = command.run(self.bench, values)
        finally:
            self._progress.end()
        self._terminal().show(report)
        self.hand = after(self.hand, command.name, values, report, self._now())
        if getattr(report, "lost", ""):
            self._let_go_of_lost_port()
        return Result(int(report.exit_status), report=report)

    def _take_common(self, values: Values) -> None:
        """--port and --machine stay in hand; --json is for one line."""
        self.bench.quiet = self._json or bool(values["json"])
        if values["port"] or values["machine"]:
            self._use(values["port"], values["machine"])
        if values["trace"]:
            self.bench.trace_to(values["trace"])

    def _use(self, port: str | None, machine: str | None, anew: bool = False) -> None:
        """Take another port or machine; what was proven was proven elsewhere. anew: the same port too."""
        if port:
            from linktool.ports import port_kind

            port_kind(port)
        if machine:
            from linktool.machine import load

            load(machine, self.bench.folders.machines)
        before = self._names()
        if (port or before[0], machine or before[1]) == before and not anew:
            return
        self.bench.use(port=port, machine=machine)
        if self.hand:
            self.hand = replace(self.hand, proof=None)

    def _let_go_of_lost_port(self) -> None:
        if self.bench.drop_lost_port():
            self.tell_error("the port is closed; the next verb that needs it opens it again")

    # ---- verbs of its own ---------------------------------------------------------------------

    def _help(self, values: Values) -> Result:
        size = shutil.get_terminal_size()
        asked = values["verb"]
        if asked:
            self._say(helping.of_verb(find_verb(asked), size.columns))
        else:
            self._say(helping.overview(VERBS, size.columns, size.lines))
        return Result()

    def _port(self, values: Values) -> Result:
        asked = values["name"]
        if asked:
            # The simulated board has no reset key: naming it again switches it off and on.
            anew = asked.startswith("board:") and self.bench.port is not None
            self._use(asked, None, anew)
        name = self.bench.port_name
        self._say([f"port {name}, {'open' if self.bench.port else 'not open yet'}"])
        return Result()

    def _machine(self, values: Values) -> Result:
        if values["name"]:
            self._use(None, values["name"])
        machine = self.bench.machine
        self._say([f"machine {machine.name}: {machine.title}"])
        return Result()

    def _image(self, values: Values) -> Result:
        asked = list(values["image"] or ())
        if asked:
            from linktool.sources import gather

            image, warnings = gather(self.bench, asked, values["at"], values["format"])
            if not image:
                raise UsageError(f"{' '.join(asked)} holds no bytes")
            self._say([f"note: {warning}" for warning in warnings])
            taken = InHand(tuple(asked), values["at"], values["format"], image)
            same = self.hand is not None and self.hand.image == image
            self.hand = replace(taken, proof=self.hand.proof) if self.hand and same else taken
        if self.hand is None:
            self._say(["No image is in hand. `image FILE` takes one; so does every verb that is given one."])
            return Result()
        start = "" if self.hand.start is None else f", starts at {hex4(self.hand.start)}"
        self._say([f"image {self.hand}{start}", f"{self.hand.proof or 'not entered yet'}"])
        return Result()

    def _quit(self, values: Values) -> Result:
        return Result(leave=True)

    # ---- what is shown ------------------------------------------------------------------------

    def prompt(self) -> str:
        """What is connected, in a few characters."""
        port, machine = self._names()
        if not port:
            return "no port> "
        return (
            f"{machine or 'no machine'} on {port}> "
            if self.bench.port
            else f"{machine or port}, not connected> "
        )

    def bottom_line(self, columns: int) -> str:
        """Port, machine, image and its extent, what is proven and when; cut to fit."""
        port, machine = self._names()
        parts = [
            f"port {port or 'none'}" + (" open" if self.bench.port else ""),
            f"machine {machine or 'none'}",
            f"image {self.hand}" if self.hand else "no image",
        ]
        if self.hand:
            parts.append(str(self.hand.proof or "not entered yet"))
        for first in range(len(parts)):  # what is in hand matters most: the rest gives way to it
            line = " | ".join(parts[first:])
            if len(line) < columns:
                return line
        return parts[-1][: max(columns - 1, 0)]

    def complete(self, line: str) -> Completion:
        """What may stand at the end of `line`."""
        return complete(line, VERBS, lambda kind: self._lists.known(kind, self.hand))

    def tell_error(self, text: str) -> None:
        """A line on standard error, in the manner of errors."""
        self._terminal().complain(LinktoolError(text))

    def _terminal(self) -> Terminal:
        return Terminal(self.bench.quiet, self._out, self._err, prefix="! ")

    def say(self, line: str) -> None:
        """A line on standard output."""
        self._terminal().say(line)

    def _say(self, lines: list[str]) -> None:
        for line in lines:
            self.say(line)

    def _names(self) -> tuple[str, str]:
        """Port and machine as far as they are known; "" for what is not, or cannot be read."""
        return _or_empty(lambda: self.bench.port_name), _or_empty(lambda: self.bench.machine.name)


def _or_empty(ask: Callable[[], str]) -> str:
    try:
        return ask()
    except LinktoolError:
        return ""
