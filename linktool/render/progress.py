"""What is going on while a job runs: one status line on a terminal, nothing elsewhere.

The line stands above the cursor, so that what the user types meanwhile is echoed by the terminal itself, at
once and in its own line, and is there at the next prompt. A terminal that cannot move its cursor is given a
line every SELDOM_S. `watch` takes the notes of a conversation, `tick` every key and character that passes.
"""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TextIO

from linktool.actions import Note
from linktool.conversation import Conversation, Counts
from linktool.machine import characters_per_second
from linktool.render.vt import moves_cursor

REFRESH_S = 0.25
SELDOM_S = 10.0
SPEAKING_S = 0.5
"""A rate is shown only after so much time."""

UNSEEN = 4
"""So many keys for each character that came are keys without an echo."""

CHARACTERS = {"enter": 3.2, "check": 4.2, "read": 4.2}
"""Characters a byte, until the job's own figure is known: typed, and read back in rows."""


@dataclass(frozen=True)
class Status:
    """What the status line says. done, total: in `unit`s. allowed: characters a second that display and
    link can do at most. left_s: None while it cannot be told."""

    phase: str
    done: int
    total: int
    unit: str = "byte"
    keystrokes: int = 0
    rate: float | None = None
    allowed: float = 0.0
    left_s: float | None = None
    mended: int = 0
    retyped: int = 0


def status_line(status: Status, width: int) -> str:
    """The status in at most `width` characters; what matters least is left out first."""
    total = max(status.total, 1)
    amount = f"{status.done:,}/{status.total:,} {status.unit}s"
    left = "" if status.left_s is None else f"{clock(status.left_s)} left"
    rate = "" if status.rate is None else f"{status.rate:.0f} of {status.allowed:.0f}/s"
    faults = [f"{status.mended} mended"] * bool(status.mended)
    faults += [f"{status.retyped} typed again"] * bool(status.retyped)
    keys = f"{status.keystrokes:,} keys"
    for bar_width, shown in (
        (20, (amount, keys, rate, left, *faults)),
        (10, (amount, keys, rate, left, *faults)),
        (10, (amount, rate, left, *faults)),
        (0, (amount, rate, left, *faults)),
        (0, (amount, left, *faults)),
        (0, (amount, left)),
        (0, (f"{100 * status.done // total} %",)),
    ):
        bar = ("#" * (bar_width * status.done // total)).ljust(bar_width, "-")
        parts = [f"{status.phase:<5}", f"[{bar}]" if bar else "", *shown]
        line = "  ".join(part for part in parts if part)
        if len(line) <= width:
            return line
    return status.phase[:width]


def clock(seconds: float) -> str:
    """Time left, as rough as it is known: "8 s", "3 min 20 s", "25 min"."""
    whole = max(1, round(seconds))
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min {whole % 60 // 10 * 10} s" if whole < 600 else f"{whole // 60} min"


class Progress:
    """talk: the talk that goes on, asked for its counts; None where there is none."""

    def __init__(
        self,
        talk: Callable[[], Conversation | None] = lambda: None,
        out: TextIO | None = None,
        err: TextIO | None = None,
        real_time: Callable[[], float] = time.monotonic,
    ) -> None:
        self.out, self.err = out or sys.stdout, err or sys.stderr
        self._talk, self._real_time = talk, real_time
        self._on_terminal = self.err.isatty()
        self._moves = self._on_terminal and moves_cursor(self.err)
        self._drawn_at = float("-inf")
        self._standing = self._in_line = False
        self._phase = ""
        self._began_at = 0.0
        self._done_then = 0
        self._before = Counts()
        self._noted = Status("", 0, 0)
        self._printed_then = 0

    def watch(self, note: Note, at: float) -> None:
        """A note, and the port's clock in seconds."""
        if note.topic == "output":
            from linktool.dialect import printable
            from linktool.render.terminal import safe

            self.clear()
            text = safe(printable(str(note.facts["text"])))
            self.out.write(text)
            self.out.flush()
            self._in_line = not text.endswith("\n") if text else self._in_line
        elif note.topic == "end":
            self.end()
        elif not self._on_terminal:
            return
        elif note.topic == "progress":
            self._progress(note, at)
        elif note.topic == "wake":
            self._say("waking the machine")
        elif note.topic == "listen":
            self._say("listening")
        elif note.topic == "putting":
            self._say("putting the routines into the machine")
        elif note.topic == "stopping":
            self._say("stopping at a safe point; Ctrl-C again stops at once")
        elif note.topic == "begin":
            self._phase = ""
        elif note.topic == "calibrated":
            self._say(f"link measured: a key's echo is back after {1000 * note.facts['round_trip_s']:.0f} ms")
        elif note.topic == "started":
            self._phase = ""
            self.clear()

    def tick(self, at: float) -> None:
        """Something passed over the port."""
        if self._phase and self._due():
            self._draw(at)

    def clear(self) -> None:
        """Take the status line away, and what was typed meanwhile with it; the next prompt shows that."""
        if self._standing:
            self.err.write("\x1b[1A\r\x1b[J")
            self.err.flush()
            self._standing = False

    def end(self) -> None:
        """The job is over: what follows begins on a line of its own."""
        self._phase = ""
        self.clear()
        if self._in_line:
            self.out.write("\n")
            self.out.flush()
            self._in_line = False

    def _progress(self, note: Note, at: float) -> None:
        facts, counts = note.facts, self._counts()
        phase = str(facts["phase"])
        if phase != self._phase:
            # The first note of a phase tells how far it is already: measuring begins there.
            self._phase, self._began_at, self._done_then = phase, at, int(facts["done"])
            self._before = replace(counts)
        self._noted = Status(phase, int(facts["done"]), int(facts["total"]), str(facts.get("unit", "byte")))
        self._printed_then = counts.printed
        if self._noted.done >= self._noted.total:
            self._phase = ""
            self.clear()
        elif self._due():
            self._draw(at)

    def _counts(self) -> Counts:
        talk = self._talk()
        return talk.counts if talk else Counts()

    def _due(self) -> bool:
        now = self._real_time()
        if now - self._drawn_at < (REFRESH_S if self._moves else SELDOM_S):
            return False
        self._drawn_at = now
        return True

    def _draw(self, at: float) -> None:
        self._put(status_line(self._status(at), self._width()))

    def _status(self, at: float) -> Status:
        """What was noted, and how far the characters that came since have brought it."""
        noted, counts, before, talk = self._noted, self._counts(), self._before, self._talk()
        spent = at - self._began_at
        printed = counts.printed - before.printed
        done = noted.done
        if noted.unit == "byte":
            came, went = self._printed_then - before.printed, noted.done - self._done_then
            each = came / went if came > 0 and went > 0 else CHARACTERS.get(noted.phase, 4.0)
            done += int((counts.printed - self._printed_then) / each)
        done = min(done, noted.total - 1)
        told, went = spent > SPEAKING_S, max(done, noted.done) - self._done_then
        keystrokes = counts.keystrokes - before.keystrokes
        passed, allowed = printed, _allowed(talk) if talk else 0.0
        if talk and keystrokes > UNSEEN * printed:  # a routine takes them: the adapter alone is the limit
            passed, allowed = keystrokes, characters_per_second(talk.machine.link)
        return replace(
            noted,
            done=max(done, noted.done),
            keystrokes=keystrokes,
            rate=passed / spent if told and talk else None,
            allowed=allowed,
            left_s=spent * (noted.total - done) / went if went > 0 and told else None,
            mended=counts.repaired - before.repaired,
            retyped=counts.retyped - before.retyped,
        )

    def _width(self) -> int:
        return max(20, shutil.get_terminal_size().columns - 1)

    def _say(self, text: str) -> None:
        self._phase = ""
        if self._moves:
            self._put(text)

    def _put(self, line: str) -> None:
        if not self._moves:
            self.err.write(line + "\n")
        elif self._standing:
            self.err.write(f"\x1b7\x1b[1A\r{line}\x1b[K\x1b8")
        else:
            self.err.write(f"\r{line}\x1b[K\n")
            self._standing = True
        self.err.flush()


def _allowed(talk: Conversation) -> float:
    """Characters a second that the slower of display and link can do: by the profile, or as it was
    measured where that is more."""
    display = max(talk.machine.screen.rate_cps, 1 / talk.pacing.period_s)
    return min(display, characters_per_second(talk.machine.link))
