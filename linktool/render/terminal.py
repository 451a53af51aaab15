"""The terminal: where reports, errors and progress are written, as text or as one JSON object.

Reports go to standard output, errors and progress to standard error. Text that came from a file or from
the wire is made safe here once more: no control character but the new line gets through.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from typing import TextIO

from linktool.actions import Note
from linktool.errors import BAD_INPUT, LinktoolError
from linktool.render import load_for

RED, GREEN, DIM, PLAIN = "\x1b[31m", "\x1b[32m", "\x1b[2m", "\x1b[0m"


def safe(text: str) -> str:
    """`text` without control characters, new lines kept."""
    return "".join(c if c == "\n" or (c.isprintable()) else "." for c in text)


def colourful(stream: TextIO, environment: Mapping[str, str] = os.environ) -> bool:
    """Whether colour may be used: a terminal that is not dumb, and NO_COLOR not set."""
    return stream.isatty() and not environment.get("NO_COLOR") and environment.get("TERM") != "dumb"


class Terminal:
    """Shows one command's outcome. as_json: one object on standard output and nothing else there."""

    def __init__(self, as_json: bool = False, out: TextIO | None = None, err: TextIO | None = None) -> None:
        self.as_json = as_json
        self.out, self.err = out or sys.stdout, err or sys.stderr

    def show(self, report: object) -> None:
        """A report, whole."""
        load_for(report)
        if self.as_json:
            from linktool.render.data import data

            self.out.write(json.dumps(data(report)) + "\n")
        else:
            from linktool.render.text import lines

            for line in lines(report):
                self.out.write(self._coloured(safe(line)) + "\n")
        self.out.flush()

    def _coloured(self, line: str) -> str:
        if not colourful(self.out):
            return line
        if line.startswith(("! ", "NOT proven")):
            return f"{RED}{line}{PLAIN}"
        return f"{GREEN}{line}{PLAIN}" if line.startswith("Proven") else line

    def complain(self, error: Exception, command: str = "", status: int | None = None) -> int:
        """An error, as a sentence and what to do; returns the exit status."""
        if status is None:
            status = error.exit_status if isinstance(error, LinktoolError) else BAD_INPUT
        if self.as_json:
            facts = {"command": command, "ok": False, "error": str(error), "exit_status": status}
            self.out.write(json.dumps(facts) + "\n")
            self.out.flush()
        else:
            self.err.write(f"linktool: {safe(str(error))}\n")
            self.err.flush()
        return status

    def say(self, line: str) -> None:
        """One line of text, at once."""
        if not self.as_json:
            self.out.write(safe(line) + "\n")
            self.out.flush()


class Progress:
    """A status line on standard error while a job runs, if that is a terminal; silent otherwise.
    `watch` takes the notes of a conversation."""

    REFRESH_S = 0.3

    def __init__(self, out: TextIO | None = None, err: TextIO | None = None) -> None:
        self.out, self.err = out or sys.stdout, err or sys.stderr
        self._live = self.err.isatty()
        self._began: float | None = None
        self._shown = float("-inf")
        self._phase = ""

    def watch(self, note: Note, at: float) -> None:
        """A Note and the port's clock."""
        if note.topic == "output":
            from linktool.dialect import printable

            self.clear()
            self.out.write(safe(printable(str(note.facts["text"]))))
            self.out.flush()
        elif note.topic == "progress" and self._live:
            self._progress(note, at)
        elif note.topic in ("calibrated", "started", "begin"):
            self._began = None
            self.clear()

    def _progress(self, note: Note, at: float) -> None:
        done, total, phase = int(note.facts["done"]), int(note.facts["total"]), str(note.facts["phase"])
        if phase != self._phase or self._began is None:
            self._phase, self._began = phase, at
        if at - self._shown < self.REFRESH_S and done < total:
            return
        self._shown = at
        spent = at - self._began
        left = f", {spent * (total - done) / done:.0f} s left" if done and spent > 1 else ""
        width = 20
        bar = ("#" * (width * done // max(total, 1))).ljust(width, "-")
        self.err.write(f"\r{phase:<6} [{bar}] {done}/{total} bytes{left}\x1b[K")
        self.err.flush()
        if done >= total:
            self.clear()

    def clear(self) -> None:
        """Take the status line away."""
        if self._live and self._phase:
            self.err.write("\r\x1b[K")
            self.err.flush()
            self._phase = ""
