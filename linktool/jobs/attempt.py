"""One attempt at a job: wake the machine, do the work, and whatever ends it, end in order.

When the user stops it the line in hand is cancelled; when the link fails the reason is kept. Nothing is
raised for the link: a job's report says how its attempt ended.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from linktool.actions import Talk
from linktool.calibration import prepare
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import NoAnswer
from linktool.jobs.report import Effort, Meter
from linktool.plan import timed_delays


@dataclass(frozen=True)
class Ended:
    """stopped: the user asked to. lost: why the link, or the machine, could not go on; "" where it did."""

    effort: Effort
    stopped: bool
    lost: str


def withdraw(talk: Conversation) -> Talk[str]:
    """After the user asked to stop: cancel the line in hand. Says why where that could not be done."""
    try:
        yield from talk.leave_line()
    except (Gone, NoAnswer) as error:
        return str(error)
    return ""


def leave_be(talk: Conversation) -> Talk[None]:
    """After the user asked to stop: strike nothing, where no line of the monitor's is in hand."""
    yield from ()


def drop_unseen(talk: Conversation) -> Talk[None]:
    """After the user asked to stop, over a one-way link: strike the cancel key. Nothing shows if it came."""
    key_s, line_s = timed_delays(talk.machine)
    yield from talk.pause(key_s)
    yield from talk.send(talk.dialect.cancel_key)
    yield from talk.pause(line_s)


def attempt(
    talk: Conversation,
    command: str,
    work: Talk[None],
    *,
    wake: bool = True,
    at_stop: Callable[[Conversation], Talk[None]] = Conversation.leave_line,
) -> Talk[Ended]:
    """Do `work`, which may raise Stopped, Gone or NoAnswer; say how it ended and what it took.

    wake: bring the machine to its prompt and measure it first; not so where it cannot answer.
    at_stop: what to do when the user asked to stop; it may raise Gone or NoAnswer as well.
    """
    meter = Meter(talk)
    stopped, lost = False, ""
    try:
        try:
            yield from talk.note("begin", command=command)
            meter.begin()
            if wake:
                yield from prepare(talk)
                meter.ready()
            yield from work
        except Stopped:
            stopped = True
            yield from talk.note("stopping")
            yield from at_stop(talk)
    except (Gone, NoAnswer) as error:
        lost = str(error)
    return Ended(meter.effort(), stopped, lost)
