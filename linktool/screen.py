r"""A model of the target's screen, kept from the text that comes over the wire. Pure: text in, rows out.

A character goes to the cursor's place and moves it on; after the last column, and at a new line ("\r"),
the next row begins; below the last row everything moves up by one. Only the 64-character set is shown:
lower case as upper case, control characters not at all (common practice of such terminal sections).
What the machine's own screen shows besides, from before the link was opened, cannot be known.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

UNKNOWN = "x"
"""In the rows of `expected`: a digit the host cannot know. The machine's own set has no lower case."""

_UNSEEN = re.compile("[^\\r -_a-z]")
_LOWER = str.maketrans("abcdefghijklmnopqrstuvwxyz", "ABCDEFGHIJKLMNOPQRSTUVWXYZ")


class Screen:
    """columns x rows characters; `received` counts what came, shown or not."""

    def __init__(self, columns: int = 40, rows: int = 24) -> None:
        self.columns, self.rows = columns, rows
        self.received = 0
        self._lines: list[str] = [""]

    def feed(self, text: str) -> None:
        r"""Text as it came over the link, "\r" for a new line."""
        self.received += len(text)
        self.put(_UNSEEN.sub("", text).translate(_LOWER))

    def put(self, text: str) -> None:
        """Characters that are shown as they stand, and new lines."""
        first, *rest = text.split("\r")
        self._write(first)
        for line in rest[-self.rows :]:
            self._lines.append("")
            self._write(line)

    def _write(self, line: str) -> None:
        whole = self._lines.pop() + line
        # A full row is followed by a new one at once, be it empty.
        pieces = [whole[at : at + self.columns] for at in range(0, len(whole) + 1, self.columns)]
        self._lines = [*self._lines, *pieces][-self.rows :]

    @property
    def cursor(self) -> tuple[int, int]:
        """Row and column of the next character, both from 0."""
        return len(self._lines) - 1, len(self._lines[-1])

    def lines(self) -> tuple[str, ...]:
        """All rows, each `columns` wide."""
        padded = [line.ljust(self.columns) for line in self._lines]
        return (*padded, *[" " * self.columns] * (self.rows - len(padded)))

    def clear(self) -> None:
        """Forget everything, as after the terminal's own clear key."""
        self._lines = [""]


def framed(lines: Iterable[str], columns: int) -> tuple[str, ...]:
    """Rows in a frame that any terminal can show."""
    edge = "+" + "-" * columns + "+"
    return (edge, *(f"|{line:<{columns}}|" for line in lines), edge)
