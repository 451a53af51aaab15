"""run over a one-way link: the line that starts the program is typed with the link's delays. Nothing comes
back, so nothing is proven: the person watches the machine's own screen."""

from __future__ import annotations

from linktool.actions import Talk
from linktool.conversation import Conversation, Gone, Stopped
from linktool.dialect import run_line
from linktool.jobs.report import Meter, RunReport
from linktool.plan import timed_delays


def run_unseen(talk: Conversation, address: int, port: str = "") -> Talk[RunReport]:
    """Drop whatever line is in hand, and type the run line. Never raises for the link."""
    meter = Meter(talk)
    stopped, lost = False, ""
    key_s, line_s = timed_delays(talk.machine)
    cancel, end = talk.dialect.cancel_key, talk.dialect.end_key
    try:
        yield from talk.note("begin", command="run")
        meter.begin()
        for key in (cancel, *run_line(talk.dialect, address), end):
            yield from talk.send(key)
            yield from talk.pause(line_s if key in (cancel, end) else key_s)
        yield from talk.note("started", address=address)
    except Stopped:
        stopped = True
    except Gone as error:
        lost = str(error)
    return RunReport(talk.machine.name, port, address, "", False, stopped, lost, meter.effort(), one_way=True)
