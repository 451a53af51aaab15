"""The cable between linktool and the board, and the hand on it: a port on which things happen.

The reset key is pressed, the cable is pulled, Ctrl-C is struck, the host is killed: after so many keys, or at
a time. Killing is an exception from within the port: the job is abandoned as a dead process abandons it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from linktool.board.board import Board
from tests.simulation.plan import Moment

LONGEST_S = 4 * 3600.0
MOST_LOOKS = 2_000_000


class Killed(BaseException):
    """The host is dead. No part of linktool may catch this."""


class Hung(BaseException):
    """A job goes on for longer than anything can excuse."""


class Cable:
    """A port, see linktool.port. `stop` is what the driver asks; `happened` counts the moments that came."""

    def __init__(self, board: Board, moments: Sequence[Moment] = ()) -> None:
        self.board = board
        self.name = "board:"
        self.happened: Counter[str] = Counter()
        self.looks = 0
        self._asked = 0
        self._began_s = board.now()
        self._sent = 0
        self._by_keys = sorted((m for m in moments if m.keys is not None), key=lambda m: m.keys or 0)
        self._by_time = sorted((m for m in moments if m.after_s is not None), key=lambda m: m.after_s or 0.0)

    def now(self) -> float:
        return self.board.now()

    def write(self, data: bytes) -> None:
        for byte in data:
            self.board.write(bytes([byte]))
            self._sent += 1
            while self._by_keys and (self._by_keys[0].keys or 0) <= self._sent:
                self._happens(self._by_keys.pop(0))

    def read(self, until: float) -> bytes:
        while self._by_time:
            at = self._began_s + (self._by_time[0].after_s or 0.0)
            if at > until:
                break
            came = self.board.read(at)
            if came:
                return came
            self._happens(self._by_time.pop(0))
        return self.board.read(until)

    def close(self) -> None:
        """The board stays; whoever comes next opens it again."""

    def stop(self) -> int:
        """How often the user has asked to stop."""
        self.looks += 1
        if self.looks > MOST_LOOKS or self.board.now() - self._began_s > LONGEST_S:
            raise Hung(f"{self.looks} looks, {self.board.now() - self._began_s:.0f} s")
        return self._asked

    def _happens(self, moment: Moment) -> None:
        self.happened[moment.kind] += 1
        if moment.kind == "reset":
            self.board.reset()
        elif moment.kind == "cut":
            self.board.cut()
        elif moment.kind == "kill":
            raise Killed
        else:
            self._asked += 2 if moment.kind.endswith("twice") else 1
