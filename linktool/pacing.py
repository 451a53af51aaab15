"""How many keys may be under way, and when the next may go. Pure arithmetic, no clock of its own.

The display holds the processor for one period a character and the keyboard register holds one key.
A key is taken before its echo is printed, so besides the keys on the wire one may wait in the register
and one in the processor. Keys are gated by the window and spaced by nearly the display's period: a
burst would overrun the register, and spacing alone would drift.

Stop-and-wait, window 1, gives 1 key a round trip (U = Tf / (Tf + 2 Tprop + ...), stop-and-wait ARQ).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

SPACING = 0.9
"""Of the display's period: the least gap between two keys. Under 1, so that lost time is caught up."""


@dataclass(frozen=True)
class Pacing:
    """window: keys under way at most. period_s: what the display takes a character. round_trip_s: from
    a key sent to its echo seen, on an idle machine. slack_s: how much later than expected an echo may
    come. jitter_s: how much echoes were seen to vary. key_delay_s: the least gap the profile asks for."""

    window: int
    period_s: float
    round_trip_s: float
    slack_s: float
    jitter_s: float = 0.0
    key_delay_s: float = 0.0

    @property
    def gap_s(self) -> float:
        """The least time between two keys: the profile's delay, and with a window nearly the period."""
        return max(self.key_delay_s, SPACING * self.period_s if self.window > 1 else 0.0)

    @property
    def echo_s(self) -> float:
        """How long to wait for the next echo before it counts as missing."""
        return self.round_trip_s + 2 * self.period_s + self.slack_s

    @property
    def still_s(self) -> float:
        """How long after a line's last echo a second one, of a doubled key, could still come."""
        return 1.1 * self.period_s + self.jitter_s

    def more_patient(self) -> Pacing:
        """After an echo that came late: wait longer for the next ones, up to two seconds."""
        return replace(self, slack_s=min(2.0, 1.5 * self.slack_s))


def first_guess(period_s: float, key_delay_s: float = 0.0) -> Pacing:
    """Before anything is measured: one key at a time, and patience."""
    return Pacing(window=1, period_s=period_s, round_trip_s=0.5, slack_s=1.0, key_delay_s=key_delay_s)


def least_window(period_s: float, round_trip_s: float) -> int:
    """The smallest window that keeps the display busy: one key a period over a whole round trip."""
    return max(1, math.ceil(round_trip_s / period_s - 0.05))


def largest_window(period_s: float, round_trip_s: float, latch: int) -> int:
    """The largest that cannot overrun: keys on the wire, those the register holds, one in the processor."""
    return max(1, math.floor(round_trip_s / period_s + latch + 0.9))


def best_length(error_rate: float, overhead: int, longest: int) -> int:
    """Characters a line that cost the least a byte when each character goes wrong with `error_rate`
    and a wrong one means typing the line again; `overhead` characters a line are spent anyway.

    A line of n characters needs (q**-n - 1) / p characters on average until one passes whole,
    q = 1 - p (mean number of trials until n successes in a row), and each failure costs `overhead` more.
    """
    if error_rate <= 0:
        return longest
    p = min(error_rate, 0.5)
    best, least = longest, math.inf
    for length in range(overhead + 4, longest + 1):
        tries = (1 - p) ** -length
        cost = ((tries - 1) / p + (tries - 1) * overhead + overhead) / (length - overhead)
        if cost < least:
            best, least = length, cost
    return best
