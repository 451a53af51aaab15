"""The processor's clock from the moments at which a program's beat arrived.

A program with a [beat] prints a character once every so many cycles exactly. What lies between the
processor and here (display, adapter, operating system) shifts each arrival by some milliseconds, but
not the pace: a straight line through all arrivals (least squares) gives the period. The bound takes
the worst case, every shift anywhere between none and `jitter_s`.
Bound: the slope's error is at most jitter/2 x sum |k| / sum k^2 with k counted from the middle (computed).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from linktool.program import Beat

FIELD_S = 1 / 59.94
ADAPTER_S = 0.016


@dataclass(frozen=True)
class Clock:
    """hz: the clock measured. within: the largest error there can be, as a fraction (0.005 is 0.5 %)."""

    hz: float
    within: float

    def sentence(self, stated_hz: float) -> str:
        off = self.hz / stated_hz - 1
        text = f"the processor runs at {self.hz / 1e6:.3f} MHz (within {self.within:.2%})"
        if abs(off) <= max(self.within, 0.005):
            return text + f", as the profile says: {stated_hz / 1e6:.3f}"
        return (
            text
            + f"; the profile says {stated_hz / 1e6:.3f} MHz, {abs(off):.1%} {'less' if off > 0 else 'more'}"
        )


def clock(beat: Beat, arrivals_s: Sequence[float], jitter_s: float = FIELD_S + ADAPTER_S) -> Clock | None:
    """The clock from when each of the beat's characters arrived, in seconds. None where the number of
    them is not the program's (a character lost or added would bend the line), or they all came at once."""
    count = len(arrivals_s)
    if count != beat.times:
        return None
    middle = (count - 1) / 2
    mean = sum(arrivals_s) / count
    squares = sum((k - middle) ** 2 for k in range(count))
    period_s = sum((k - middle) * (at - mean) for k, at in enumerate(arrivals_s)) / squares
    if period_s <= 0:
        return None
    bound_s = jitter_s / 2 * sum(abs(k - middle) for k in range(count)) / squares
    return Clock(beat.cycles / period_s, bound_s / period_s)
