"""How fast an adapter may be fed, measured on a scratch line that is cancelled, so memory is not touched.

The display is far slower than the adapter, but two keys struck together show whether the adapter can give
them one right after the other: the monitor takes the first at once, the second waits in the keyboard
register, and both are echoed. An adapter that holds its strobe loses the second.
"""

from __future__ import annotations

from linktool.actions import Talk
from linktool.calibration import SCRATCH
from linktool.conversation import Conversation
from linktool.machine import Machine, characters_per_second

IN_A_ROW, FORGIVEN = 2, 1
"""Pairs in a row that must come back whole, and how many may fail before."""

GAP_LEAST_S, GAP_MOST_S = 0.002, 0.032
NARROWED = 4
"""Halvings between the largest gap that failed and the smallest that held."""

MARGIN = 1.05


LEAST_KEY_CYCLES = 330
"""Cycles between two keys that the receiver can always keep up with; a test measures what it takes."""


def least_gap_s(machine: Machine) -> float:
    """The gap that an adapter needs which is faster than the receiver; 0.0 where it is not."""
    needed_s = LEAST_KEY_CYCLES / machine.clock_hz
    return needed_s if 1 / characters_per_second(machine.link) < needed_s else 0.0


def find_gap(talk: Conversation) -> Talk[float]:
    """Seconds between two keys that the adapter needs; 0.0 where its own rate is slow enough.

    The machine must be at its prompt, and is so afterwards.
    """
    good = 0.0
    bad = 1 / characters_per_second(talk.machine.link)
    held = yield from _pair_holds(talk, 0.0)
    if not held:
        good = max(GAP_LEAST_S, 2 * bad)
        while good < GAP_MOST_S:
            held = yield from _pair_holds(talk, good)
            if held:
                break
            bad, good = good, 2 * good
        for _halving in range(NARROWED):
            middle = (bad + good) / 2
            held = yield from _pair_holds(talk, middle)
            bad, good = (bad, middle) if held else (middle, good)
        good *= MARGIN
    yield from talk.leave_line()
    yield from talk.note("gap", gap_s=good)
    return good


def _pair_holds(talk: Conversation, gap_s: float) -> Talk[bool]:
    """Whether pairs of keys `gap_s` apart come back whole, several times in a row: where latency jitters,
    one pair may have been drawn apart on its way. A link with faults is forgiven one lost character."""
    row, lost = 0, 0
    while row < IN_A_ROW:
        yield from talk.pause(1.5 / talk.machine.screen.rate_cps)
        talk.inbox = ""
        if gap_s:
            yield from talk.send(SCRATCH)
            yield from talk.pause(gap_s)
            yield from talk.send(SCRATCH)
        else:
            yield from talk.send(2 * SCRATCH)
        both = yield from talk.gather(2, talk.pacing.echo_s)
        if both and talk.inbox == 2 * SCRATCH:
            row += 1
            continue
        row, lost = 0, lost + 1
        if lost > FORGIVEN:
            return False
    talk.inbox = ""
    return True
