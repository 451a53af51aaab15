"""Find the monitor from any state: in the middle of a line, mute, or with a program printing.

The cancel key drops whatever stands in the line buffer and is answered with a text the profile knows.
Only that exact answer, with silence after it, counts as awake.
"""

from __future__ import annotations

from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.errors import NoAnswer

PATIENCE_S = (0.6, 0.6, 1.0, 1.5, 2.0)
"""How long an answer to each of the cancel keys is waited for."""


def wake(talk: Conversation) -> Talk[None]:
    """Bring the monitor to its prompt. NoAnswer with what came instead, and what to look at."""
    dialect = talk.dialect
    yield from talk.note("wake")
    yield from talk.pause(talk.machine.link.settle_s)
    heard = ""
    flooding = 0
    for patience_s in PATIENCE_S:
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
    raise NoAnswer(*_complaint(talk, heard, flooding))


def _complaint(talk: Conversation, heard: str, flooding: int) -> tuple[str, str]:
    name = talk.machine.name
    if flooding > 2:
        return (
            f"the machine keeps printing and does not heed its cancel key; last came: {_shown(heard)}",
            "A program is running. Press the machine's reset key and try again",
        )
    if not heard:
        return (
            "the machine is silent: nothing came back when its cancel key was struck",
            "Look at power, cable and port; press its reset key; then check rate and frame "
            f"in [link] of machine {name} (now {talk.machine.link.rate} baud, {talk.machine.link.frame})",
        )
    return (
        f"something answers, but not as machine {name} does: {_shown(heard)}; "
        f"expected after its cancel key: {_shown(talk.dialect.cancel_answer)}",
        "If that is garbage, check rate and frame in [link]; if it reads well, another --machine "
        "may suit; if a program is running, press the reset key",
    )


def _shown(text: str) -> str:
    return repr(speech.printable(text[-40:], "\r")).replace("\\r", " (new line) ")
