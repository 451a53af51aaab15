"""A board kept in step with a real clock, for whoever serves it. No I/O: bytes in, bytes out, time handed in.

The board's clock follows the real one at the same rate. When the computer cannot keep up, or was asleep,
the board does not run after what was missed: its clock slips.
"""

from __future__ import annotations

from linktool.board.board import Board
from linktool.errors import PortLost

TURN_S = 0.02
"""At most so much of the board's time is run in one turn, so that several boards share a process."""
WORKING_S = 0.004
"""How long a board whose program is at work may go without a turn."""
ROUNDED_S = 1e-6
"""A turn is due so much after its event, so that a clock of large numbers, rounded, is not before it."""
BEHIND_S = 0.25
KEYS_WAITING = 256


class RealTime:
    """`now` is any steady clock in seconds. `lost` once the board's link is cut."""

    def __init__(self, board: Board, now: float) -> None:
        self.board = board
        self.lost = False
        self.slipped_s = 0.0
        self._start = now - board.now()

    def turn(self, now: float) -> bytes:
        """Bring the board up to `now`, as far as one turn goes; what has arrived for the host."""
        here = self.board.now()
        goal = now - self._start
        if not self.board.processor.idle:
            if goal - here > BEHIND_S:
                self.slipped_s += goal - here - TURN_S
                self._start += goal - here - TURN_S
            goal = min(goal, here + TURN_S)
        out = bytearray()
        try:
            while data := self.board.read(goal):
                out += data
        except PortLost:
            self.lost = True
        return bytes(out)

    def feed(self, data: bytes) -> None:
        """Bytes the host has sent by now."""
        try:
            self.board.write(data)
        except PortLost:
            self.lost = True

    @property
    def hungry(self) -> bool:
        """Whether the host may send more: the adapter holds few keys that have not arrived yet."""
        return not self.lost and len(self.board.keyboard.arrivals) < KEYS_WAITING

    def due(self) -> float:
        """When the next turn is due if nothing is sent, by the real clock; inf for never."""
        if self.lost:
            return float("inf")
        wakes = self.board.wakes_s()
        if wakes <= self.board.now():
            return self._start + self.board.now() + WORKING_S
        return self._start + wakes + ROUNDED_S
