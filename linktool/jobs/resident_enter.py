"""enter, through the resident receiver: blocks go in at the adapter's speed, the checker proves them.

What this talk has entered before is taken to be there still, and only what differs from that is sent. Then
all of it is summed, after the last byte was written, and pieces that differ are sent; what still differs
after being sent again is read back, so that each address is named. Where the routines cannot be used, the
rest is typed, and the report says why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from formats.image import Image, Range
from linktool.actions import Talk
from linktool.conversation import Conversation
from linktool.jobs.attempt import attempt
from linktool.jobs.enter import enter as enter_typed
from linktool.jobs.enter import type_image
from linktool.jobs.report import Proof, Report, ranges_of
from linktool.jobs.resident_boot import Unfit, settle, suits
from linktool.jobs.resident_naming import joined, name
from linktool.jobs.verify import Verification, verify
from linktool.machine import characters_per_second
from linktool.resident.checking import Verdict, judge
from linktool.resident.forecast import entering, long_and_short, unsuited
from linktool.resident.residence import Residence, residence
from linktool.resident.routines import Routines
from linktool.resident.sending import Broken, Tally, leave, send_image

Via = Literal["auto", "typed", "receiver"]

ROUNDS = 2
"""How often pieces whose sum is wrong are sent again."""

RESTARTS = 8
SLOWER = 2.0
SLOWEST_S = 0.05
"""A gap between keys above which typing is as fast."""


def enter(
    talk: Conversation, image: Image, port: str = "", check: bool = True, via: Via = "auto"
) -> Talk[Report]:
    """Enter `image` the way asked for; `auto`: the one that is forecast to be faster. The caller has called
    `refuse_harm`. Never raises for the link."""
    home = residence(talk)
    taken = ranges_of(image)
    if via == "auto":
        ready = home.routines if suits(home, taken, True) and home.receiver else None
        via = "receiver" if entering(talk.machine, image, ready, home.held, home.wary).faster else "typed"
    if via == "typed":
        report = yield from enter_typed(talk, image, port, check)
        home.hold(image, (*report.typed, *report.proven))
        return report
    report = yield from _Entry(talk, image, check).report(port)
    return report


@dataclass
class _Found:
    via: str = "receiver"
    sent: list[tuple[int, bytes]] = field(default_factory=list)
    typed: list[tuple[int, bytes]] = field(default_factory=list)
    proven: list[Range] = field(default_factory=list)
    read: Verification = field(default_factory=Verification)
    remarks: list[str] = field(default_factory=list)
    tally: Tally = field(default_factory=Tally)


NEAR = 8
"""Bytes alike between two that differ, which are sent along: a block more would take as many keys."""


def unlike(known: Image, image: Image) -> Image:
    """What of `image` is not known to be there, in stretches worth a block."""
    runs: list[list[int]] = []
    for address, value in image.cells():
        if known.get(address) == value:
            continue
        if runs and address - runs[-1][1] <= NEAR and len(image.slice(Range(runs[-1][1], address))) > 1:
            runs[-1][1] = address
        else:
            runs.append([address, address])
    parts = [image.slice(Range(first, last)) for first, last in runs]
    return Image.from_runs((segment.first, segment.data) for part in parts for segment in part.segments)


class _Entry:
    """One image on its way in."""

    def __init__(self, talk: Conversation, image: Image, check: bool) -> None:
        self.talk, self.image, self.check = talk, image, check
        self.home: Residence = residence(talk)
        self.found = _Found()
        self.sums: dict[Range, str] = {}

    def report(self, port: str) -> Talk[Report]:
        talk, found = self.talk, self.found
        ended = yield from attempt(talk, "enter", self._bring_in())
        self._remark()
        cells = (cell for run in (*found.sent, *found.typed) for cell in enumerate(run[1], run[0]))
        entered = ranges_of(Image.from_cells(cells))
        self.home.hold(self.image, entered)
        return Report(
            command="enter",
            machine=talk.machine.name,
            port=port,
            image=self.image,
            proof=self._proof(),
            differences=tuple(sorted(found.read.findings, key=lambda finding: finding.address)),
            proven=joined([*found.proven, *ranges_of(found.read.proven_image)]),
            typed=entered,
            stopped=ended.stopped,
            lost=ended.lost,
            noise=found.read.noise,
            effort=ended.effort,
            via=found.via,
            remarks=tuple(found.remarks),
        )

    def _bring_in(self) -> Talk[None]:
        try:
            yield from self._through_the_receiver()
        except Unfit as unfit:
            self.found.via = "typed"
            self.found.remarks.append(f"typed, not sent through the receiver: {unfit}")
            yield from self._by_hand()

    def _proof(self) -> Proof:
        if not self.check:
            return "none"
        return "checksum" if self.found.proven else "read back"

    def _through_the_receiver(self) -> Talk[None]:
        talk = self.talk
        taken = ranges_of(self.image)
        reason = unsuited(talk.machine, self.image)
        if reason:
            raise Unfit(reason)
        routines = yield from settle(talk, taken, True)
        pending = unlike(self.home.known, self.image) if self.check else self.image
        for _round in range(2 + ROUNDS):
            if pending:
                self._withdraw()
                yield from self._send(routines, pending)
            if not self.check:
                return
            pending = yield from self._prove(routines)
            if not pending:
                return
        yield from self._name(routines, pending)

    def _by_hand(self) -> Talk[None]:
        """Type what is not there yet, and prove all of it."""
        pending = self.image
        for address, data in self.found.sent:
            pending = pending.without(Range(address, address + len(data) - 1))
        for _round in range(1 + ROUNDS):
            self._withdraw()
            yield from type_image(self.talk, pending, self.found.typed, len(pending))
            if not self.check:
                return
            pending = yield from self._prove(self.home.routines)
            if not pending:
                return
        yield from self._name(self.home.routines, pending)

    def _withdraw(self) -> None:
        """Something is going to be written: what is proven may not hold any more, where an address line is
        at fault."""
        self.found.proven, self.found.read, self.sums = [], Verification(), {}

    def _prove(self, routines: Routines | None) -> Talk[Image]:
        """Prove the whole image: by sums, its shortest stretches by reading back; without routines all of it
        by reading back. What is not proven by that."""
        found, image = self.found, self.image
        self._withdraw()
        summed, read = long_and_short(image) if routines else (Image(), image)
        doubtful = []
        if routines and summed:
            verdict = Verdict(agree=found.proven)
            yield from judge(self.talk, routines, summed, verdict, total=len(image))
            doubtful += [image.slice(each) for each in verdict.differ]
            self.sums = verdict.differ
        if read:
            yield from verify(self.talk, read, found.read)
            doubtful += [image.slice(Range(each.address, each.address)) for each in found.read.findings]
        return Image.from_runs((s.first, s.data) for part in doubtful for s in part.segments)

    def _name(self, routines: Routines | None, image: Image) -> Talk[None]:
        """What cannot be proven: each address that differs, where reading back has not named it already."""
        found = self.found
        if routines:
            sums = {piece: text for piece, text in self.sums.items() if image.slice(piece)}
            yield from name(self.talk, routines, image, sums, found.read, found.remarks)

    def _send(self, routines: Routines, image: Image) -> Talk[None]:
        """Send `image`; where nobody answers any more, come back, look at the routines, and go on."""
        talk, home, sent = self.talk, self.home, self.found.sent
        pending, before = image, len(sent)
        home.gap_s = home.gap_s or 0.0
        for _restart in range(RESTARTS):
            try:
                yield from send_image(talk, routines, pending, home.gap_s, sent, self.found.tally)
                return
            except Broken as broken:
                yield from talk.note("resident", state="broken", reason=str(broken))
                yield from leave(talk, routines, home.gap_s)
                if broken.too_fast:
                    home.gap_s = SLOWER * max(home.gap_s, 1 / characters_per_second(talk.machine.link))
                if home.gap_s > SLOWEST_S:
                    break
                yield from settle(talk, ranges_of(self.image), True)
                for address, data in sent[before:]:
                    pending = pending.without(Range(address, address + len(data) - 1))
                before = len(sent)
                if not pending:
                    return
        raise Unfit("the receiver does not answer reliably, even with more time between the keys")

    def _remark(self) -> None:
        found, routines = self.found, self.home.routines
        if routines is not None:
            zero, code = routines.overwritten(self.home.receiver)
            found.remarks.append(
                f"the routines stand at {code} and use {zero} in page zero: what was there is gone"
            )
        if self.home.gap_s and found.tally.blocks:
            found.remarks.append(f"the adapter needs {1000 * self.home.gap_s:.1f} ms between two keys")
        if found.tally.wasted:
            found.remarks.append(
                f"{found.tally.wasted} of {found.tally.blocks} blocks did not arrive whole; sent again"
            )
