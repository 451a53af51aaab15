"""Read an image back and compare: the part that `enter` and `check` share.

A row that differs is read again. The same wrong byte twice is memory; a byte that changes is read until
it is clear whether it settles on what was expected (then the link was at fault) or not (then the cell is
unsteady, or the link too poor to tell). Where the link or the memory shows a fault while an image is read,
every row that agrees must agree twice, those read before the fault showed as well: one wrong printed
character can then not hide a wrong byte. Only what is read without any fault is proven by one reading.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.jobs.report import Finding, Kind
from linktool.plan import blocks

BLOCK = 256
"""Bytes an examine line at most: about 16 s of printing, which Ctrl-C may have to wait for."""

READINGS = 8
"""How often a row is read again before an unclear byte is given up on."""


@dataclass
class Verification:
    """Grows while reading goes on, so that an interruption leaves what is proven.

    once: rows that agreed, read one time; they count as long as no fault has shown (`doubted`).
    """

    proven: list[tuple[int, bytes]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    noise: int = 0
    once: list[tuple[int, bytes]] = field(default_factory=list)
    doubted: bool = False

    @property
    def proven_image(self) -> Image:
        return Image.from_runs(self.proven if self.doubted else [*self.proven, *self.once])

    def withdraw(self) -> None:
        """Something is going to be written: nothing of what was read holds for sure any more."""
        self.proven, self.findings, self.once, self.doubted = [], [], [], False


def verify(
    talk: Conversation, image: Image, result: Verification, total: int | None = None, phase: str = "check"
) -> Talk[None]:
    """Read `image`'s addresses and compare; fills `result`. Raises Stopped, Gone, NoAnswer."""
    wrong_before = talk.counts.wrong
    result.doubted = result.doubted or talk.error_rate >= CALM

    def look() -> None:
        result.doubted = bool(result.doubted or result.findings or talk.counts.wrong != wrong_before)

    total = total or len(image)
    try:
        yield from _pass(talk, image, result, look, total, phase)
        if result.doubted and result.once:
            again, result.once = Image.from_runs(result.once), []
            yield from _pass(talk, again, result, look, len(again), phase)
    finally:
        look()
    result.proven += result.once
    result.once = []


def _pass(
    talk: Conversation, image: Image, result: Verification, look: Callable[[], None], total: int, phase: str
) -> Talk[None]:
    wanted, done = list(blocks(image, BLOCK)), 0
    for number, block in enumerate(wanted):
        upcoming = wanted[number + 1 : number + 2]
        text = speech.examine_line(talk.dialect, upcoming[0]) if upcoming else ""
        yield from _verify_block(talk, image, block, text, result, look)
        done += len(block)
        yield from talk.note("progress", phase=phase, done=done, total=total)


def _verify_block(
    talk: Conversation,
    image: Image,
    block: Range,
    upcoming: str,
    result: Verification,
    look: Callable[[], None],
) -> Talk[None]:
    reading = yield from talk.examine(block, upcoming)
    look()
    unsure: list[Range] = []
    for row in speech.rows(talk.dialect, block):
        found, expected = reading.image.slice(row), image.slice(row)
        if found.segments == expected.segments and not result.doubted:
            result.once.append((row.first, expected.segments[0].data))
        else:
            unsure.append(row)
    for row in _joined(unsure):
        yield from _settle(talk, image.slice(row), reading.image.slice(row), result)
        look()


def _joined(found: list[Range]) -> list[Range]:
    """Neighbouring rows as one range, so that one line asks for them all."""
    joined: list[Range] = []
    for row in found:
        if joined and joined[-1].last + 1 == row.first:
            joined[-1] = Range(joined[-1].first, row.last)
        else:
            joined.append(row)
    return joined


def _settle(talk: Conversation, expected: Image, first: Image, result: Verification) -> Talk[None]:
    """Read one stretch again until every byte is clear, or patience ends. Only rows that hold an unclear byte
    are asked for; what they show of other bytes counts as well."""
    wanted = dict(expected.cells())
    seen: dict[int, list[int]] = {address: [] for address in wanted}
    for address, value in first.cells():
        seen[address].append(value)
    extent = expected.extent
    rows = list(speech.rows(talk.dialect, extent)) if extent else []
    for _reading in range(READINGS):
        unclear = [row for row in rows if not all(_clear(seen[a], wanted[a]) for a in _addresses(row))]
        if not unclear:
            break
        for stretch in _joined(unclear):
            reading = yield from talk.examine(stretch)
            for address, value in reading.image.cells():
                seen[address].append(value)
    for address, want in wanted.items():
        _judge(address, want, seen[address], result)


def _addresses(row: Range) -> range:
    return range(row.first, row.last + 1)


def _clear(values: list[int], want: int) -> bool:
    """Two readings that agree with each other; and where one was not as expected, two more that were."""
    if len(values) < 2 or values[-1] != values[-2]:
        return False
    return values[-1] != want or 2 * values.count(want) >= len(values) + 2


def _judge(address: int, want: int, values: list[int], result: Verification) -> None:
    others = [value for value in values if value != want]
    if _clear(values, want) and values[-1] == want:
        result.noise += bool(others)
        result.proven.append((address, bytes([want])))
        return
    kind: Kind = "unsteady" if len(set(values)) > 1 else "unread"
    if _clear(values, want) and want not in values:
        kind = "memory"
    result.findings.append(Finding(address, want, others[-1] if others else None, kind))
