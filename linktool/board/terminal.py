"""The terminal section as the processor sees it: a keyboard register that holds one key, and a display
that takes one character and is busy for a while. Times are clock cycles.

A newer key replaces one that was not read; a character written while the display is busy is lost. Both
are counted. Keys that have arrived are taken over when a register is looked at, in the order they came.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

READY = 0x80


class Keyboard:
    """One key wide. `arrivals` are (cycle, code) in order, put there by the adapter."""

    def __init__(self) -> None:
        self.arrivals: deque[tuple[int, int]] = deque()
        self.code = 0
        self.waiting = False
        self.arrived = 0
        self.taken = 0
        self.overruns = 0

    def settle(self, now: int) -> bool:
        """Take over what has arrived by `now`; whether anything had."""
        before = self.arrived
        while self.arrivals and self.arrivals[0][0] <= now:
            self.code = self.arrivals.popleft()[1]
            self.overruns += self.waiting
            self.waiting = True
            self.arrived += 1
        return self.arrived != before

    def take(self) -> bool:
        """The register is read; whether that freed it."""
        freed = self.waiting
        self.taken += freed
        self.waiting = False
        return freed


class Display:
    """Shows one character in `busy_cycles`. `shown` is told of each, with the cycle it was written at."""

    def __init__(self, busy_cycles: float, shown: Callable[[int, int], None]) -> None:
        self.busy_cycles = busy_cycles
        self.busy_until = 0.0
        self.printed = 0
        self.lost = 0
        self._shown = shown

    def busy(self, now: int) -> bool:
        return now < self.busy_until

    def write(self, now: int, value: int) -> None:
        """The processor writes a character."""
        if now < self.busy_until:
            self.lost += 1
            return
        self.busy_until = now + self.busy_cycles
        self.printed += 1
        self._shown(now, value & 0x7F)
