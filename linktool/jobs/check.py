"""check: read an image's addresses back and compare. Memory is not touched."""

from __future__ import annotations

from formats.image import Image
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.jobs.attempt import attempt
from linktool.jobs.report import Report, ranges_of
from linktool.jobs.verify import Verification, verify


def check(talk: Conversation, image: Image, port: str = "") -> Talk[Report]:
    """Compare `image` with the machine's memory. Never raises for the link: the report says it."""
    result = Verification()
    ended = yield from attempt(talk, "check", verify(talk, image, result))
    return Report(
        command="check",
        machine=talk.machine.name,
        port=port,
        image=image,
        proof="read back",
        differences=tuple(sorted(result.findings, key=lambda finding: finding.address)),
        proven=ranges_of(result.proven_image),
        stopped=ended.stopped,
        lost=ended.lost,
        noise=result.noise,
        effort=ended.effort,
    )
