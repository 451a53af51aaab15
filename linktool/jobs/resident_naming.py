"""Name each address where a piece's sum came otherwise than expected.

The piece is read back. Where what was read has the very sum that the machine printed, it is what memory
holds, by two witnesses; else it is read as often as `verify` thinks it must be. Memory is not touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.jobs.report import Finding
from linktool.jobs.verify import Verification, verify
from linktool.resident.checking import judge
from linktool.resident.routines import Routines
from linktool.resident.sums import printed, sum_of

UNSTEADY = (
    "the machine's own sum of {} does not agree, although every byte reads back right: "
    "the memory there may be unsteady"
)


def name(
    talk: Conversation,
    routines: Routines,
    image: Image,
    sums: Mapping[Range, str],
    read: Verification,
    remarks: list[str],
) -> Talk[None]:
    """Fill `read` with what `image` differs in; `sums`: what was printed for its pieces that differ."""
    for piece in sorted(sums):
        part = image.slice(piece)
        reading = yield from talk.examine(piece)
        if reading.spoilt or printed(sum_of(reading.image.segments[0].data)) != sums[piece]:
            before = len(read.findings)
            yield from verify(talk, part, read)
            if len(read.findings) == before:
                verdict = yield from judge(talk, routines, part)
                if verdict.differ:
                    remarks.append(UNSTEADY.format(piece))
            continue
        there = dict(reading.image.cells())
        for address, wanted in part.cells():
            if there[address] == wanted:
                read.proven.append((address, bytes([wanted])))
            else:
                read.findings.append(Finding(address, wanted, there[address], "memory"))


def joined(ranges: Iterable[Range]) -> tuple[Range, ...]:
    """Ranges sorted, those that touch or overlap as one."""
    result: list[Range] = []
    for each in sorted(ranges):
        if result and each.first <= result[-1].last + 1:
            result[-1] = Range(result[-1].first, max(result[-1].last, each.last))
        else:
            result.append(each)
    return tuple(result)
