"""The terminal: where reports and errors are written, as text or as one JSON object.

Reports go to standard output, errors to standard error. Text that came from a file or from
the wire is made safe here once more: no control character but the new line gets through.
"""

from __future__ import annotations

import json
import re
import shutil
import sys
import textwrap
from typing import TextIO

from linktool.errors import BAD_INPUT, LinktoolError
from linktool.render import load_for
from linktool.render.paint import Painted
from linktool.render.vt import colourful

RED, GREEN, DIM, PLAIN = "\x1b[31m", "\x1b[32m", "\x1b[2m", "\x1b[0m"


def safe(text: str) -> str:
    """`text` without control characters, new lines kept."""
    return "".join(c if c == "\n" or (c.isprintable()) else "." for c in text)


class Terminal:
    """Shows one command's outcome. as_json: one object on standard output and nothing else there.
    prefix: what errors begin with."""

    def __init__(
        self,
        as_json: bool = False,
        out: TextIO | None = None,
        err: TextIO | None = None,
        prefix: str = "linktool: ",
    ) -> None:
        self.as_json, self.prefix = as_json, prefix
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
                for part in _painted(line, self.out) or _fitted(safe(line), self.out, _colour(line)):
                    self.out.write(part + "\n")
        self.out.flush()

    def complain(self, error: Exception, command: str = "", status: int | None = None) -> int:
        """An error, as a sentence and what to do; returns the exit status."""
        if status is None:
            status = error.exit_status if isinstance(error, LinktoolError) else BAD_INPUT
        if self.as_json:
            facts = {"command": command, "ok": False, "error": str(error), "exit_status": status}
            self.out.write(json.dumps(facts) + "\n")
            self.out.flush()
        else:
            for part in _fitted(f"{self.prefix}{safe(str(error))}", self.err, RED):
                self.err.write(part + "\n")
            self.err.flush()
        return status

    def say(self, line: str) -> None:
        """One line of text, at once."""
        if not self.as_json:
            self.out.write(safe(line) + "\n")
            self.out.flush()


def _painted(line: str, stream: TextIO) -> list[str]:
    """A line that has colours of its own, where they can be shown."""
    if isinstance(line, Painted) and colourful(stream) and safe(line) == line:
        return [line.in_colour()]
    return []


def _colour(line: str) -> str:
    """Colour only says again what the words or the mark at the start of the line say."""
    if line.startswith(("! ", "NOT proven")):
        return RED
    return GREEN if line.startswith("Proven") else ""


def _fitted(line: str, stream: TextIO, colour: str) -> list[str]:
    """A line in colour, and broken between words where a terminal is narrower."""
    parts = [line]
    columns = shutil.get_terminal_size().columns
    if stream.isatty() and len(line) > columns:
        indent = " " * _hanging(line, columns)
        parts = textwrap.wrap(
            line, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
        )
    if not colour or not colourful(stream):
        return parts
    return [f"{colour}{part}{PLAIN}" for part in parts]


def _hanging(line: str, columns: int) -> int:
    """How far the rest of a broken line stands in: under the last cell of a table that begins in the left
    half, else two beyond a line that stands in itself, or is marked."""
    gaps = [gap.end() for gap in re.finditer(r"(?<=\S) {2,}(?=\S)", line[: columns // 2 + 1])]
    if gaps:
        return gaps[-1]
    if line.startswith("! "):
        return 2
    before = len(line) - len(line.lstrip())
    return before + 2 if before else 0
