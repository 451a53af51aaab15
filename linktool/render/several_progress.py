"""What is going on on several boards: a block with a line each, redrawn in place.

Where the terminal cannot do that, or has fewer rows than there are boards, a line is printed as each board
ends, and the block, if it can be drawn at all, is one line that counts them. What programs print goes to
standard output, whole lines only, each behind its board's label.
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable, Sequence
from typing import TextIO

from linktool.actions import Note
from linktool.dialect import printable
from linktool.jobs.several import BoardResult
from linktool.render.several import WORDS, short
from linktool.render.terminal import safe
from linktool.render.vt import moves_cursor

REFRESH_S = 0.25
LONGEST_LINE = 1000


class SeveralProgress:
    """labels: what the boards are called, in order. See side_by_side for `noted` and `ended`."""

    def __init__(
        self,
        labels: Sequence[str],
        out: TextIO | None = None,
        err: TextIO | None = None,
        real_time: Callable[[], float] = time.monotonic,
    ) -> None:
        self.out, self.err = out or sys.stdout, err or sys.stderr
        self._labels = [safe(label) for label in labels]
        self._width = max((len(label) for label in labels), default=0)
        self._lines = ["waiting"] * len(labels)
        self._printed = [""] * len(labels)
        self._left = len(labels)
        self._moves = moves_cursor(self.err)
        self._real_time = real_time
        self._drawn_at = float("-inf")
        self._standing = 0

    def noted(self, number: int, note: Note, at: float) -> None:
        """A note of one board's conversation."""
        facts = note.facts
        if note.topic == "output":
            self._output(number, printable(str(facts["text"])))
        elif note.topic == "progress":
            done, total = int(facts["done"]), max(1, int(facts["total"]))
            unit = facts.get("unit", "byte")
            self._say(number, f"{facts['phase']:<6} {100 * done // total:3} %  {done:,} of {total:,} {unit}s")
        elif note.topic == "wake":
            self._say(number, "waking the machine")

    def ended(self, number: int, result: BoardResult) -> None:
        """One board is done."""
        self._left -= 1
        if self._printed[number]:
            self._output(number, "\n")
        end = result.error or "  ".join(
            part for part in (WORDS.get(result.exit_status, ""), short(result)) if part
        )
        self._say(number, safe(end).replace("\n", " "), at_once=True)
        if not self._block():
            self.clear()
            self.err.write(self._line(number, 10_000) + "\n")
            self.err.flush()

    def clear(self) -> None:
        """Take the block away: what follows stands in its place."""
        if self._standing:
            self.err.write(f"\x1b[{self._standing}A\r\x1b[J")
            self.err.flush()
            self._standing = 0

    def _say(self, number: int, text: str, at_once: bool = False) -> None:
        self._lines[number] = text
        now = self._real_time()
        if self._moves and (at_once or now - self._drawn_at >= REFRESH_S):
            self._drawn_at = now
            self._draw()

    def _block(self) -> bool:
        """Whether there is room for a line a board."""
        return self._moves and len(self._labels) < shutil.get_terminal_size().lines

    def _draw(self) -> None:
        width = max(20, shutil.get_terminal_size().columns - 1)
        if self._block():
            rows = [self._line(number, width) for number in range(len(self._labels))]
        else:
            rows = [f"{len(self._labels) - self._left} of {len(self._labels)} boards done"[:width]]
        if len(rows) != self._standing:
            self.clear()
        up = f"\x1b[{self._standing}A\r" if self._standing else ""
        self.err.write(up + "".join(f"{row}\x1b[K\n" for row in rows))
        self.err.flush()
        self._standing = len(rows)

    def _line(self, number: int, width: int) -> str:
        return f"{self._labels[number]:<{self._width}}  {self._lines[number]}"[:width]

    def _output(self, number: int, text: str) -> None:
        """Whole lines that a program printed; the rest waits for its end, if it is not too long."""
        *whole, rest = (self._printed[number] + text).split("\n")
        if len(rest) > LONGEST_LINE:
            whole, rest = [*whole, rest], ""
        self._printed[number] = rest
        if not whole:
            return
        self.clear()
        for line in whole:
            self.out.write(f"{self._labels[number]:<{self._width}}  {safe(line)}".rstrip() + "\n")
        self.out.flush()
