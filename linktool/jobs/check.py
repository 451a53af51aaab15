"""check: read an image's addresses back and compare. Memory is not touched."""

from __future__ import annotations

from formats.image import Image
from linktool.actions import Talk
from linktool.calibration import prepare
from linktool.conversation import Conversation, Gone, Stopped
from linktool.errors import NoAnswer
from linktool.jobs.report import Meter, Report, ranges_of
from linktool.jobs.verify import Verification, verify


def check(talk: Conversation, image: Image, port: str = "") -> Talk[Report]:
    """Compare `image` with the machine's memory. Never raises for the link: the report says it."""
    meter, result = Meter(talk), Verification()
    stopped, lost = False, ""
    try:
        yield from talk.note("begin", command="check")
        meter.begin()
        yield from prepare(talk)
        meter.ready()
        yield from verify(talk, image, result)
    except Stopped:
        stopped = True
        lost = yield from withdraw(talk)
    except (Gone, NoAnswer) as error:
        lost = str(error)
    return Report(
        command="check",
        machine=talk.machine.name,
        port=port,
        image=image,
        proof="read back",
        differences=tuple(sorted(result.findings, key=lambda finding: finding.address)),
        proven=ranges_of(result.proven_image),
        stopped=stopped,
        lost=lost,
        noise=result.noise,
        effort=meter.effort(),
    )


def withdraw(talk: Conversation) -> Talk[str]:
    """After the user asked to stop: cancel the line in hand. Says why where that could not be done."""
    try:
        yield from talk.leave_line()
    except (Gone, NoAnswer) as error:
        return str(error)
    return ""
