"""run: start a program, and show what it prints while it is watched.

The end key of the run line is struck once and never again: the program may have started.
"""

from __future__ import annotations

from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.jobs.attempt import attempt, leave_be
from linktool.jobs.report import RunReport
from linktool.jobs.watching import Output, watch


def run(talk: Conversation, address: int, watch_s: float = 0.0, port: str = "") -> Talk[RunReport]:
    """Start the program at `address`; collect what it prints for `watch_s` seconds, or until it is back
    at the monitor's prompt and silent. Never raises for the link."""
    output = Output()
    work = _start(talk, address, watch_s, output)
    ended = yield from attempt(talk, "run", work, at_stop=leave_be)
    text, talk.inbox = output.text + talk.inbox, ""
    return RunReport(
        talk.machine.name, port, address, text, output.back, ended.stopped, ended.lost, ended.effort
    )


def _start(talk: Conversation, address: int, watch_s: float, output: Output) -> Talk[None]:
    yield from talk.run(address)
    yield from talk.note("started", address=address)
    yield from watch(talk, watch_s, output)
