"""run: start a program, and show what it prints while it is watched.

The end key of the run line is struck once and never again: the program may have started.
"""

from __future__ import annotations

from linktool.actions import Talk, TimeUp, Wait
from linktool.calibration import prepare
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import NoAnswer
from linktool.jobs.report import Meter, RunReport

KEPT = 1 << 20
"""Characters of output kept; older ones are dropped."""


def run(talk: Conversation, address: int, watch_s: float = 0.0, port: str = "") -> Talk[RunReport]:
    """Start the program at `address`; collect what it prints for `watch_s` seconds, or until it is back
    at the monitor's prompt and silent. Never raises for the link."""
    meter = Meter(talk)
    output, back, stopped, lost = "", False, False, ""
    try:
        yield from talk.note("begin", command="run")
        meter.begin()
        yield from prepare(talk)
        meter.ready()
        yield from talk.run(address)
        yield from talk.note("started", address=address)
        end = talk.now + watch_s
        while talk.now < end:
            if talk.inbox:
                yield from talk.note("output", text=talk.inbox)
                output = (output + talk.inbox)[-KEPT:]
                talk.inbox = ""
            event = yield from talk.act(Wait(min(0.5, end - talk.now)))
            if isinstance(event, TimeUp) and _at_prompt(talk, output):
                back = True
                break
        output += talk.inbox
        back = back or _at_prompt(talk, output)
        talk.inbox = ""
    except Stopped:
        stopped = True
        output += talk.inbox
    except (Gone, NoAnswer) as error:
        lost = str(error)
        output += talk.inbox
    return RunReport(talk.machine.name, port, address, output, back, stopped, lost, meter.effort())


def _at_prompt(talk: Conversation, output: str) -> bool:
    """Whether the output ends as the monitor's prompt does; never so where it prints none."""
    ready = talk.dialect.ready
    return bool(ready) and output.endswith("\r" + ready)
