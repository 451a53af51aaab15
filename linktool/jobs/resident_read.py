"""read, by the resident reader: memory printed in a third of the characters, proven by the checker's sums.

Printing is bound by the display all the same: 4 KiB take a minute and a half at 60 characters a second, where
a monitor's dump takes four and a quarter, once, unproven. The reader must be put into RAM first, so this is
done only where it is asked for, or where routines are in memory already. Registers are never read by it.
On a link that shows faults the monitor's dump is used: a lost character costs a row there, not a run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Literal

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import CALM, Conversation
from linktool.jobs.attempt import attempt
from linktool.jobs.read import blocks_of, read_piece
from linktool.jobs.read import read as read_by_dump
from linktool.jobs.report import Report, ranges_of
from linktool.jobs.resident_boot import Unfit, settle, suits
from linktool.jobs.resident_naming import joined
from linktool.resident.checking import Verdict, judge
from linktool.resident.forecast import reading, registers_apart
from linktool.resident.reading_out import GROUP, RUN_BYTES, print_out
from linktool.resident.residence import residence
from linktool.resident.routines import Routines

Via = Literal["auto", "dump", "reader"]

TRIES = 2
"""How often a stretch is printed by the reader before the monitor's dump is taken for it."""


def read(talk: Conversation, wanted: tuple[Range, ...], port: str = "", via: Via = "auto") -> Talk[Report]:
    """Read the ranges the way asked for; `auto`: by routines that are there, else by the monitor's dump.
    Never raises for the link: the report holds what came whole."""
    home = residence(talk)
    if via == "auto":
        ready = home.routines if suits(home, wanted, False, True) else None
        forecast = reading(talk.machine, wanted, ready, home.reader)
        via = "reader" if ready and forecast.faster else "dump"
    if via == "dump":
        report = yield from read_by_dump(talk, wanted, port)
        return replace(report, via="dump")
    report = yield from _Read(talk, wanted).report(port)
    return report


@dataclass
class _Found:
    via: str = "reader"
    cells: dict[int, int] = field(default_factory=dict)
    proven: list[Range] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


class _Read:
    """Ranges being read."""

    def __init__(self, talk: Conversation, wanted: tuple[Range, ...]) -> None:
        self.talk, self.wanted = talk, wanted
        self.home = residence(talk)
        self.found = _Found()
        self.total = sum(len(each) for each in wanted)

    def report(self, port: str) -> Talk[Report]:
        talk, found = self.talk, self.found
        ended = yield from attempt(talk, "read", self._take_in())
        image = Image.from_cells(found.cells.items())
        whole = bool(image) and joined(found.proven) == ranges_of(image)
        return Report(
            command="read",
            machine=talk.machine.name,
            port=port,
            image=image,
            proof="checksum" if whole else "none",
            proven=joined(found.proven),
            stopped=ended.stopped,
            lost=ended.lost,
            effort=ended.effort,
            via=found.via,
            remarks=tuple(found.remarks),
        )

    def _take_in(self) -> Talk[None]:
        talk, found = self.talk, self.found
        memory, registers = registers_apart(talk.machine, self.wanted)
        try:
            routines = yield from settle(talk, self.wanted, False, True)
        except Unfit as unfit:
            found.via = "dump"
            found.remarks.append(f"read by the monitor's dump, not by the reader: {unfit}")
            registers = self.wanted
        else:
            zero, code = routines.overwritten(self.home.receiver)
            found.remarks.append(
                f"the routines stand at {code} and use {zero} in page zero: what was there is gone"
            )
            for part in memory:
                yield from self._by_reader(routines, part)
        for part in registers:
            yield from self._by_dump(part)

    def _by_reader(self, routines: Routines, part: Range) -> Talk[None]:
        """Print all of `part` out, then have it summed; what does not agree is dumped and summed again."""
        for stretch in _runs(part):
            came: bytes | None = None
            if len(stretch) % GROUP == 0:
                for _attempt in range(TRIES):
                    if came is None and self.talk.error_rate < CALM:
                        came = yield from print_out(self.talk, routines, stretch)
            if came is None:
                yield from self._by_dump(stretch)
            else:
                yield from self._take(stretch.first, came)
        yield from self._sum(routines, part, again=True)

    def _sum(self, routines: Routines, part: Range, again: bool) -> Talk[None]:
        image = Image.from_cells((at, self.found.cells[at]) for at in range(part.first, part.last + 1))
        verdict = Verdict(agree=self.found.proven)
        yield from judge(self.talk, routines, image, verdict, phase="read")
        for piece in verdict.differ if again else ():
            yield from self._by_dump(piece)
            yield from self._sum(routines, piece, again=False)

    def _by_dump(self, part: Range) -> Talk[None]:
        for piece in blocks_of(part):
            runs: list[tuple[int, bytes]] = []
            yield from read_piece(self.talk, piece, "", runs)
            for first, data in runs:
                yield from self._take(first, data)

    def _take(self, first: int, data: bytes) -> Talk[None]:
        self.found.cells.update(enumerate(data, first))
        yield from self.talk.note("progress", phase="read", done=len(self.found.cells), total=self.total)


def _runs(part: Range) -> Iterator[Range]:
    """`part` in stretches for one run each, whole threes; the last one or two bytes apart."""
    whole = part.first + len(part) // GROUP * GROUP
    for first in range(part.first, whole, RUN_BYTES):
        yield Range(first, min(first + RUN_BYTES, whole) - 1)
    if whole <= part.last:
        yield Range(whole, part.last)
