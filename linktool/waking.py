"""Find the monitor from any state: in the middle of a line, mute, or with a program printing.

The cancel key drops whatever stands in the line buffer and is answered with a text the profile knows.
Only that exact answer, with silence after it, counts as awake.
"""

from __future__ import annotations

from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.errors import NoAnswer

LEAVE_RECEIVER, LEAVE_BOOTSTRAP = "@@@@F[,4L", "  "
"""What brings a resident routine of ours back to the monitor, should a talk have ended while it ran: the
receiver's last block (see resident.blocks.end_block), between two marks, and the bootstrap's last key, which
may have to fill up a byte first. A monitor drops all of it at the next cancel key."""

SLOW_S = 0.012
"""Between the keys of these: slow enough for any adapter."""

PATIENCE_S = (0.6, 0.6, 1.0, 1.5, 2.0)
"""How long an answer to each of the cancel keys is waited for."""


def wake(talk: Conversation) -> Talk[None]:
    """Bring the monitor to its prompt. NoAnswer with what came instead, and what to look at."""
    dialect = talk.dialect
    yield from talk.note("wake")
    yield from talk.pause(talk.machine.link.settle_s)
    heard = ""
    flooding = 0
    for attempt, patience_s in enumerate(PATIENCE_S):
        calm = yield from talk.quiet(0.15, 3.0)
        flooding += not calm
        heard = talk.inbox or heard
        talk.inbox = ""
        yield from talk.send(dialect.cancel_key)
        yield from talk.gather(len(dialect.cancel_answer), patience_s)
        yield from talk.quiet(0.1, 1.0)
        if talk.inbox == dialect.cancel_answer:
            talk.inbox = ""
            return
        heard = talk.inbox or heard
        if attempt == 1 and not talk.inbox:
            yield from _call_back(talk)
    raise NoAnswer(*_complaint(talk, heard, flooding))


def _call_back(talk: Conversation) -> Talk[None]:
    """Bring back a machine that may still be in a routine of ours."""
    mark = talk.dialect.cancel_key
    for key in mark + LEAVE_RECEIVER + mark + LEAVE_BOOTSTRAP:
        yield from talk.send(key)
        yield from talk.pause(SLOW_S)


def _complaint(talk: Conversation, heard: str, flooding: int) -> tuple[str, str]:
    name = talk.machine.name
    if flooding > 2:
        return (
            f"the machine keeps printing and does not heed its cancel key; last came: {_shown(heard)}",
            "A program may be running: press the machine's reset key and try again. If it does so right "
            f"after a reset, look at the memory the monitor itself needs{_needed(talk)}, its chips and "
            "its lines",
        )
    if not heard:
        return (
            "the machine is silent: nothing came back when its cancel key was struck",
            "A program may be running: press the machine's reset key. Else look at power, cable and port, "
            f"and at rate and frame in [link] of machine {name} "
            f"(now {talk.machine.link.rate} baud, {talk.machine.link.frame})",
        )
    return (
        f"something answers, but not as machine {name} does: {_shown(heard)}; "
        f"expected after its cancel key: {_shown(talk.dialect.cancel_answer)}",
        "If that is garbage, check rate and frame in [link]; if it reads well, another --machine "
        "may suit; if a program is running, press the reset key",
    )


def _needed(talk: Conversation) -> str:
    areas = [area.range for area in talk.machine.reserved if talk.machine.kind_at(area.range.first) == "ram"]
    return f" ({', '.join(map(str, areas))})" if areas else ""


def _shown(text: str) -> str:
    """The end of a text, with its new lines in words."""
    return "'" + speech.printable(text[-40:], "\r").replace("\r", " (new line) ").strip() + "'"
