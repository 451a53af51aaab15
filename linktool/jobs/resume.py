"""resume: go on with an entry, or give back what a test had borrowed, whatever ended the work before.

What is said to be in memory is proven before it is trusted: an entry's typed part is looked at in two places,
the rest is typed, and then the whole image is read back, after the last write. A test's bytes are given back
only where the test's own byte still stands: what the user has put there since is left alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.errors import DIFFERENT, DONE, LINK_FAILED, STOPPED
from linktool.jobs.attempt import attempt
from linktool.jobs.borrow import Borrowed
from linktool.jobs.enter import ROUNDS, type_image
from linktool.jobs.report import Effort, Report, ranges_of
from linktool.jobs.verify import Verification, verify
from linktool.plan import blocks

LOOKED_AT = 8
"""Bytes at each end of the typed part that are read before it is believed to be there."""


def resume_entry(talk: Conversation, image: Image, claimed: Image, port: str = "") -> Talk[Report]:
    """Type what of `image` is not in `claimed`, and prove all of it. Never raises for the link."""
    entry = _Entry()
    ended = yield from attempt(talk, "resume", _go_on(talk, image, claimed, entry))
    result = entry.result
    cells = (cell for first, data in entry.typed for cell in enumerate(data, first))
    return Report(
        command="enter",
        machine=talk.machine.name,
        port=port,
        image=image,
        proof="read back",
        differences=tuple(sorted(result.findings, key=lambda finding: finding.address)),
        proven=ranges_of(result.proven_image),
        typed=ranges_of(entry.kept.overlay(Image.from_cells(cells), "replace")),
        stopped=ended.stopped,
        lost=ended.lost,
        noise=result.noise,
        effort=ended.effort,
        remarks=tuple(entry.remarks),
    )


@dataclass
class _Entry:
    """kept: what was typed before and is still there."""

    typed: list[tuple[int, bytes]] = field(default_factory=list)
    result: Verification = field(default_factory=Verification)
    kept: Image = field(default_factory=Image)
    remarks: list[str] = field(default_factory=list)


def _go_on(talk: Conversation, image: Image, claimed: Image, entry: _Entry) -> Talk[None]:
    there = yield from _still_there(talk, claimed)
    if there:
        entry.kept = claimed
    elif claimed:
        entry.remarks.append("what was typed before is not in memory any more; all is typed again")
    pending = image.minus(entry.kept)
    for round_number in range(1 + ROUNDS):
        yield from type_image(talk, pending, entry.typed, len(pending))
        entry.result = Verification()
        yield from verify(talk, image, entry.result)
        if not entry.result.findings or round_number == ROUNDS:
            break
        pending = Image.from_cells((finding.address, finding.expected) for finding in entry.result.findings)
        yield from talk.note("retype", bytes=len(pending))


def _still_there(talk: Conversation, claimed: Image) -> Talk[bool]:
    """Whether both ends of the claimed part read as they should."""
    extent = claimed.extent
    if extent is None:
        return False
    for at in (extent.first, max(extent.first, extent.last - LOOKED_AT + 1)):
        part = claimed.slice(Range(at, min(at + LOOKED_AT - 1, extent.last)))
        result = Verification()
        yield from verify(talk, part, result)
        if result.findings:
            return False
    return True


@dataclass(frozen=True)
class GiveBackReport:
    """What became of memory that a test had written over.

    test       the command that was interrupted
    restored   given back and read back; `unchanged` were as before already
    left       addresses that hold something else by now, and were left alone
    owed       what was there at addresses that could not be given back
    """

    test: str
    machine: str
    port: str
    restored: tuple[Range, ...]
    unchanged: int
    left: tuple[Range, ...]
    owed: Image = field(default_factory=Image)
    stopped: bool = False
    lost: str = ""
    effort: Effort = field(default_factory=Effort)
    command: str = "resume"

    @property
    def ok(self) -> bool:
        return self.exit_status == DONE

    @property
    def exit_status(self) -> int:
        if self.lost:
            return LINK_FAILED
        if self.stopped:
            return STOPPED
        return DIFFERENT if self.owed else DONE


def give_back(
    talk: Conversation, before: Image, written: tuple[Image, ...], test: str, port: str = ""
) -> Talk[GiveBackReport]:
    """Put `before` back where one of `written` still stands. Never raises for the link."""
    concerned = Image.from_cells(cell for image in written for cell in image.cells())
    borrowed = Borrowed(talk, "resume", total=2 * len(concerned))
    unchanged, left = list[int](), list[int]()

    def work() -> Talk[None]:
        found = yield from borrowed.read(list(blocks(concerned, 256)), least=2)
        for address, _ in concerned.cells():
            was, values = before.get(address), found.get(address, ())
            if was is None or not values:
                left.append(address)
            elif values[-1] == was:
                unchanged.append(address)
            elif any(image.get(address) == values[-1] for image in written):
                borrowed.before[address] = was
                borrowed.written.add(address)
            else:
                left.append(address)
        yield from borrowed.give_back()

    ended = yield from attempt(talk, "resume", work())
    return GiveBackReport(
        test,
        talk.machine.name,
        port,
        ranges_of(Image.from_cells((address, 0) for address in borrowed.given_back)),
        len(unchanged),
        ranges_of(Image.from_cells((address, 0) for address in left)),
        borrowed.owed,
        stopped=ended.stopped,
        lost=ended.lost,
        effort=ended.effort,
    )
