"""Measure the link on a scratch line that is cancelled, so memory is never touched.

Single keys give the round trip, pairs the display's period (the second key of a pair waits for the
first one's display time), and a burst proves the window computed from both. A burst that does not
come back whole is tried again, then the window is made smaller.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import median

from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.machine import characters_per_second
from linktool.pacing import Pacing, largest_window
from linktool.waking import wake

SCRATCH = "0"
SINGLES, PAIRS, BURST = 3, 3, 12
WIDEST = 16
"""The largest window tried; a profile may not ask for more either."""


def calibrate(talk: Conversation) -> Talk[Pacing]:
    """Set and return `talk.pacing`. The machine must be at its prompt, and is so afterwards.

    A window given in the profile is kept; a profile with timed pacing is only given patience.
    """
    link = talk.machine.link
    round_trips = yield from _singles(talk)
    round_trip_s, spread_s = min(round_trips), max(round_trips) - min(round_trips)
    if talk.dialect.line_limit < 4 * SINGLES + 4 * PAIRS:
        yield from talk.leave_line()
    periods = yield from _pairs(talk, spread_s)
    slack_s = max(0.03, 2 * spread_s)
    for period_s in periods:
        measured = Pacing(1, period_s, round_trip_s, slack_s, spread_s, link.key_delay_s)
        proven = yield from _widest(talk, measured, sure=period_s == periods[-1])
        if proven:
            break
    pacing = talk.pacing
    yield from talk.note(
        "calibrated", window=pacing.window, period_s=pacing.period_s, round_trip_s=pacing.round_trip_s
    )
    return pacing


def _widest(talk: Conversation, measured: Pacing, sure: bool) -> Talk[bool]:
    """Set the widest window whose burst comes back whole. Where the period is not `sure`, only the window
    that would suit it is tried, and False says that it did not."""
    link = talk.machine.link
    widest = largest_window(measured.period_s, measured.round_trip_s, link.latch)
    window = link.window or min(WIDEST, widest)
    if link.pacing == "timed":
        window = 1
    count = min(BURST, max(1, talk.dialect.line_limit - 4))
    whole = True
    while True:
        talk.pacing = replace(measured, window=window)
        if window == 1 or link.window:  # nothing to try out
            break
        for _attempt in range(3 if sure else 2):
            yield from talk.leave_line(settled=whole)
            whole = yield from _burst(talk, count)
            if whole:
                break
        if whole or not sure:
            break
        window -= 1
    yield from talk.leave_line(settled=whole)
    return whole


def prepare(talk: Conversation) -> Talk[None]:
    """Bring the machine to its prompt, and measure the link unless this talk has done so before."""
    yield from wake(talk)
    if not talk.calibrated:
        yield from calibrate(talk)
        talk.calibrated = True


def _burst(talk: Conversation, count: int) -> Talk[bool]:
    """Type `count` scratch keys with the window being tried; True when each came back, none mended."""
    before = talk.counts.wrong, talk.pacing
    proven = yield from talk.type_text(SCRATCH * count)
    return proven and (talk.counts.wrong, talk.pacing) == before


def _singles(talk: Conversation) -> Talk[list[float]]:
    """Round trips of single keys on an idle machine, in seconds."""
    found: list[float] = []
    for _attempt in range(4 * SINGLES):
        yield from talk.pause(1.2 / talk.machine.screen.rate_cps)
        talk.inbox = ""
        struck = talk.now
        yield from talk.send(SCRATCH)
        came = yield from talk.gather(1, talk.pacing.echo_s)
        if came and talk.inbox == SCRATCH:
            found.append(talk.now - struck)
            if len(found) == SINGLES:
                break
        else:
            yield from talk.leave_line()
    talk.inbox = ""
    if not found:
        yield from talk.leave_line()
        return [talk.pacing.round_trip_s]
    return found


def _pairs(talk: Conversation, spread_s: float) -> Talk[tuple[float, ...]]:
    """The time between the echoes of two keys struck together: periods to try, in seconds, the likeliest
    first, the last one sure.

    Where two echoes come in one reading the display may be as fast as the link, or slower, or they were
    held up on the way; bursts will tell. Where round trips vary as much as the gap, chance may have made
    it: then the display is not taken to be faster than stated.
    """
    gaps: list[float] = []
    together = 0
    expected = 1 / talk.machine.screen.rate_cps
    apart_s = 0.0
    for _attempt in range(2 * PAIRS):
        yield from talk.pause(1.2 * expected)
        talk.inbox = ""
        yield from talk.send(SCRATCH)
        second_at = talk.now + apart_s
        yield from talk.gather(1, apart_s)
        first, held = talk.now, len(talk.inbox)
        yield from talk.pause(second_at - talk.now)
        yield from talk.send(SCRATCH)
        if not held:
            yield from talk.gather(1, talk.pacing.echo_s)
            first, held = talk.now, len(talk.inbox)
        yield from talk.gather(2, talk.pacing.echo_s)
        if talk.inbox == 2 * SCRATCH and held == 1:
            gaps.append(talk.now - first)
        elif len(talk.inbox) < 2:
            apart_s = expected / 2  # an adapter that holds its strobe loses a key that follows at once
        together += held == 2
        if PAIRS in (len(gaps), together):
            break
    talk.inbox = ""
    if together > len(gaps):
        return _steps(1 / characters_per_second(talk.machine.link), expected)
    if not gaps:
        return (expected,)
    period_s = median(gaps)
    return (period_s if period_s > spread_s else max(period_s, expected),)


def _steps(shortest_s: float, longest_s: float) -> tuple[float, ...]:
    """Periods from the shortest to the longest, each half as long again as the one before."""
    periods = []
    while shortest_s < longest_s / 1.5:
        periods.append(shortest_s)
        shortest_s *= 1.5
    return (*periods, longest_s)
