"""Read an image back and compare: the part that `enter` and `check` share.

A row that differs is read again. The same wrong byte twice is memory; a byte that changes is read until
it is clear whether it settles on what was expected (then the link was at fault) or not (then the cell is
unsteady, or the link too poor to tell). Where the link has shown faults, a row that agrees must agree
twice: one wrong printed character can then not hide a wrong byte.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from formats.image import Image, Range
from linktool import dialect as speech
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.jobs.report import Finding
from linktool.plan import blocks

BLOCK = 256
"""Bytes an examine line at most: about 16 s of printing, which Ctrl-C may have to wait for."""

READINGS = 6
"""How often a row is read before an unclear byte is given up on."""


@dataclass
class Verification:
    """Grows while reading goes on, so that an interruption leaves what is proven."""

    proven: list[tuple[int, bytes]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    noise: int = 0

    @property
    def proven_image(self) -> Image:
        return Image.from_runs(self.proven)


def verify(talk: Conversation, image: Image, result: Verification, total: int | None = None) -> Talk[None]:
    """Read `image`'s addresses and compare; fills `result`. Raises Stopped, Gone, NoAnswer."""
    wanted = list(blocks(image, BLOCK))
    done, total = 0, total or len(image)
    for number, block in enumerate(wanted):
        upcoming = wanted[number + 1 : number + 2]
        text = speech.examine_line(talk.dialect, upcoming[0]) if upcoming else ""
        yield from _verify_block(talk, image, block, text, result)
        done += len(block)
        yield from talk.note("progress", phase="check", done=done, total=total)


def _verify_block(
    talk: Conversation, image: Image, block: Range, upcoming: str, result: Verification
) -> Talk[None]:
    reading = yield from talk.examine(block, upcoming)
    unsure: list[Range] = []
    for row in speech.rows(talk.dialect, block):
        found, expected = reading.image.slice(row), image.slice(row)
        if found.segments == expected.segments and talk.error_rate < CALM:
            result.proven.append((row.first, expected.segments[0].data))
        else:
            unsure.append(row)
    for row in _joined(unsure):
        yield from _settle(talk, image.slice(row), reading.image.slice(row), result)


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
    """Read one stretch again until every byte is clear, or patience ends."""
    seen: dict[int, list[int]] = {address: [] for address, _ in expected.cells()}
    for address, value in first.cells():
        seen[address].append(value)
    open_cells = dict(expected.cells())
    for _reading in range(READINGS):
        stretch = Image.from_cells(open_cells.items()).extent
        if stretch is None:
            break
        reading = yield from talk.examine(stretch)
        for address, value in reading.image.cells():
            if address in seen:
                seen[address].append(value)
        for address in [a for a, want in open_cells.items() if _clear(seen[a], want)]:
            want = open_cells.pop(address)
            _judge(address, want, seen[address], result)
    for address, want in open_cells.items():
        values = seen[address]
        kind = "unsteady" if len(set(values)) > 1 else "unread"
        other = [value for value in values if value != want]
        result.findings.append(Finding(address, want, other[-1] if other else None, kind))  # type: ignore[arg-type]


def _clear(values: list[int], want: int) -> bool:
    """Two readings that agree with each other, and for a byte that was seen wrong once, three."""
    if len(values) < 2 or values[-1] != values[-2]:
        return False
    return values[-1] != want or all(value == want for value in values) or values[-3:] == [want] * 3


def _judge(address: int, want: int, values: list[int], result: Verification) -> None:
    if values[-1] == want:
        result.noise += any(value != want for value in values)
        result.proven.append((address, bytes([want])))
    elif len(set(values)) == 1:
        result.findings.append(Finding(address, want, values[-1], "memory"))
    else:
        kind = "unsteady" if want in values else "memory"
        result.findings.append(Finding(address, want, values[-1], kind))  # type: ignore[arg-type]
