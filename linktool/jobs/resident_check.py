"""check, by the resident checker: the machine sums its own memory, and only pieces that differ are read back.

The checker must be put into RAM first, so this is done only where it is asked for, or where a checker is in
memory already: a check should not change memory unasked. Registers are never summed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.jobs.attempt import attempt
from linktool.jobs.check import check as check_by_reading
from linktool.jobs.report import Report, ranges_of
from linktool.jobs.resident_boot import Unfit, settle, suits
from linktool.jobs.resident_naming import joined, name
from linktool.jobs.verify import Verification, verify
from linktool.resident.checking import Verdict, judge
from linktool.resident.forecast import checking, long_and_short, registers_apart
from linktool.resident.residence import residence
from linktool.resident.routines import Routines

Via = Literal["auto", "read", "checker"]

WORTH_SAYING_S = 30.0
"""Seconds the checker must save before a report that was read back mentions it."""


def check(talk: Conversation, image: Image, port: str = "", via: Via = "auto") -> Talk[Report]:
    """Compare `image` with memory the way asked for; `auto`: by a checker that is there, else by reading
    back. Never raises for the link."""
    home = residence(talk)
    ready = home.routines if suits(home, ranges_of(image), False) else None
    forecast = checking(talk.machine, image, ready, home.held, home.wary)
    if via == "auto":
        via = "checker" if ready and forecast.faster else "read"
        saved_s = forecast.by_hand_s - (forecast.with_routines_s or forecast.by_hand_s)
    else:
        saved_s = 0.0
    if via == "read":
        report = yield from check_by_reading(talk, image, port)
        report = replace(report, via="read")
        home.hold(image, report.proven)
        if saved_s > WORTH_SAYING_S and forecast.routines and forecast.with_routines_s:
            places = " and ".join(str(each) for each in forecast.routines.overwritten(False))
            remark = (
                f"--via checker takes about {forecast.with_routines_s:.0f} s where this takes "
                f"{forecast.by_hand_s:.0f} s; it overwrites {places}"
            )
            report = replace(report, remarks=(*report.remarks, remark))
        return report
    report = yield from _Check(talk, image).report(port)
    return report


@dataclass
class _Found:
    via: str = "checker"
    summed: list[Range] = field(default_factory=list)
    read: Verification = field(default_factory=Verification)
    remarks: list[str] = field(default_factory=list)


class _Check:
    """One image being compared."""

    def __init__(self, talk: Conversation, image: Image) -> None:
        self.talk, self.image = talk, image
        self.home = residence(talk)
        self.found = _Found()

    def report(self, port: str) -> Talk[Report]:
        talk, found = self.talk, self.found
        ended = yield from attempt(talk, "check", self._compare())
        proven = joined([*found.summed, *ranges_of(found.read.proven_image)])
        self.home.hold(self.image, proven)
        return Report(
            command="check",
            machine=talk.machine.name,
            port=port,
            image=self.image,
            proof="checksum" if found.summed else "read back",
            differences=tuple(sorted(found.read.findings, key=lambda finding: finding.address)),
            proven=proven,
            stopped=ended.stopped,
            lost=ended.lost,
            noise=found.read.noise,
            effort=ended.effort,
            via=found.via,
            remarks=tuple(found.remarks),
        )

    def _compare(self) -> Talk[None]:
        talk, found = self.talk, self.found
        try:
            routines = yield from settle(talk, ranges_of(self.image), False)
        except Unfit as unfit:
            found.via = "read"
            found.remarks.append(f"read back, not summed by the checker: {unfit}")
            yield from verify(talk, self.image, found.read)
        else:
            zero, code = routines.overwritten(self.home.receiver)
            found.remarks.append(
                f"the checker stands at {code} and uses {zero} in page zero: what was there is gone"
            )
            yield from self._by_sums(routines)

    def _by_sums(self, routines: Routines) -> Talk[None]:
        talk, found = self.talk, self.found
        memory, registers = (
            Image.from_runs((s.first, s.data) for each in ranges for s in self.image.slice(each).segments)
            for ranges in registers_apart(talk.machine, ranges_of(self.image))
        )
        summed, read = long_and_short(memory)
        verdict = Verdict(agree=found.summed)
        yield from judge(talk, routines, summed, verdict, total=len(self.image))
        yield from name(talk, routines, self.image, verdict.differ, found.read, found.remarks)
        read = read.overlay(registers)
        if read:
            yield from verify(talk, read, found.read, total=len(self.image))
