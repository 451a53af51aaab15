"""run: start a program, and show what it prints while it is watched.

The end key of the run line is struck once and never again: the program may have started.
"""

from __future__ import annotations

from linktool.actions import Talk
from linktool.calibration import prepare
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import NoAnswer
from linktool.jobs.report import Meter, RunReport
from linktool.jobs.watching import Output, watch


def run(talk: Conversation, address: int, watch_s: float = 0.0, port: str = "") -> Talk[RunReport]:
    """Start the program at `address`; collect what it prints for `watch_s` seconds, or until it is back
    at the monitor's prompt and silent. Never raises for the link."""
    meter, output = Meter(talk), Output()
    stopped, lost = False, ""
    try:
        yield from talk.note("begin", command="run")
        meter.begin()
        yield from prepare(talk)
        meter.ready()
        yield from talk.run(address)
        yield from talk.note("started", address=address)
        yield from watch(talk, watch_s, output)
    except Stopped:
        stopped = True
    except (Gone, NoAnswer) as error:
        lost = str(error)
    text, talk.inbox = output.text + talk.inbox, ""
    return RunReport(
        talk.machine.name, port, address, text, output.back, stopped, lost, meter.effort()
    )
