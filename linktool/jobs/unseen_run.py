"""run over a one-way link: the line that starts the program is typed with the link's delays. Nothing comes
back, so nothing is proven: the person watches the machine's own screen."""

from __future__ import annotations

from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.dialect import run_line
from linktool.jobs.attempt import attempt, drop_unseen
from linktool.jobs.report import RunReport
from linktool.plan import timed_delays


def run_unseen(talk: Conversation, address: int, port: str = "") -> Talk[RunReport]:
    """Drop whatever line is in hand, and type the run line. Never raises for the link."""
    struck: list[str] = []

    def at_stop(talk: Conversation) -> Talk[None]:
        """A line that was not ended is dropped; a program that may have started gets no key."""
        if talk.dialect.end_key not in struck:
            yield from drop_unseen(talk)

    ended = yield from attempt(talk, "run", _type(talk, address, struck), wake=False, at_stop=at_stop)
    return RunReport(
        talk.machine.name, port, address, "", False, ended.stopped, ended.lost, ended.effort, one_way=True
    )


def _type(talk: Conversation, address: int, struck: list[str]) -> Talk[None]:
    """`struck` grows by each key that was sent."""
    key_s, line_s = timed_delays(talk.machine)
    cancel, end = talk.dialect.cancel_key, talk.dialect.end_key
    for key in (cancel, *run_line(talk.dialect, address), end):
        struck.append(key)
        yield from talk.send(key)
        yield from talk.pause(line_s if key in (cancel, end) else key_s)
    yield from talk.note("started", address=address)
