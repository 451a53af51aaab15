"""Steps over a one-way link, judged: nothing may be called proven, and without a fault it must be right.

Without a fault means: nothing on the wire, memory whole, the reset key not pressed, the cable not pulled.
linktool cannot see whether it was so, and must say the same either way: sent, not verified.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.bench import Bench
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.errors import UsageError
from linktool.exchange import Trace
from linktool.jobs.report import Report, RunReport
from linktool.jobs.resident_enter import enter
from linktool.jobs.unseen_run import run_unseen
from linktool.render.data import data
from linktool.render.text import lines
from linktool.verbs.diagnosing import diagnose
from linktool.verbs.resuming import resume
from linktool.verbs.surveying import survey
from linktool.verbs.transfer import read
from tests.simulation.bench import CableBench, values_of
from tests.simulation.cable import Cable
from tests.simulation.judge import Wrong
from tests.simulation.plan import Step

CLAIMED, NOT_ENTERED, NOT_REFUSED = "one-way: proof claimed", "one-way: not entered", "one-way: not refused"
RULES = (CLAIMED, NOT_ENTERED, NOT_REFUSED)
SENT = "Sent, not verified"
MORE: dict[str, Any] = {"output": None, "via": "auto"}
SOMEWHERE = Range(0x0300, 0x03FF)
READING: tuple[Callable[[Bench, dict[str, Any]], Any], ...] = (survey, diagnose, resume, read)


def job(step: Step, talk: Conversation, image: Image) -> Talk[Report | RunReport]:
    """What the verbs do over such a link."""
    if step.work == "run":
        return run_unseen(talk, step.address, "board:")
    return enter(talk, image, "board:", check=not step.work.endswith("without check"))


def claims(report: Report | RunReport) -> list[Wrong]:
    """Anything in the report, or in its words, that sounds like proof."""
    text = "\n".join(lines(report))
    facts = data(report)
    json.dumps(facts)
    wrong = []
    if report.exit_status == 0 and not text.startswith(SENT):
        wrong.append(f"ended well with the words {text[:60]!r}")
    if isinstance(report, Report):
        if report.proof != "none" or report.proven or facts.get("proven"):
            wrong.append(f"proof {report.proof}, proven {report.proven}, in JSON {facts.get('proven')}")
        if report.differences:
            wrong.append("differences told")
    if "echo seen" in text or "read back" in text.replace("not read back", ""):
        wrong.append(f"says {text[:200]!r}")
    return [Wrong(CLAIMED, each) for each in wrong]


def entered(board: Board, image: Image) -> list[Wrong]:
    """Bytes of the image that are not there."""
    bad = [address for address, value in image.cells() if board.memory(address, address)[0] != value]
    shown = " ".join(f"{address:04X}" for address in bad[:6])
    return [Wrong(NOT_ENTERED, f"{len(bad)} of {len(image)} bytes: {shown}")] if bad else []


def refused(step: Step, talk: Conversation, cable: Cable, folder: Path, trace: Trace | None) -> list[Wrong]:
    """Every command that would read must be refused before the first key."""
    found = []
    sent = cable.board.adapter.sent
    for verb in READING:
        try:
            verb(CableBench(talk, cable, folder, trace), {**values_of(step), **MORE, "range": (SOMEWHERE,)})
        except UsageError:
            continue
        found.append(Wrong(NOT_REFUSED, verb.__name__))
    if cable.board.adapter.sent != sent:
        found.append(Wrong(NOT_REFUSED, "keys were sent"))
    return found
