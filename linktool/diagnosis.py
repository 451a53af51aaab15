"""Which fault explains what was read, how sure that is, and which chip it points to. Pure.

Every cause that agrees with all samples is a candidate. The simplest set of them is named: each has a cost,
its number of independent assumptions, so that one stuck line is believed before eight bad cells. What the
next best explanation costs more is the margin, and the margin is the confidence. A chip is named as surely as
the best explanation without it is dearer. The costs are our own choice, held against injected faults by
tests/confusion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from formats.image import Range
from linktool import causes
from linktool.bank_case import BankCase, Candidate, Cover
from linktool.bank_groups import Common, common_causes, perhaps_elsewhere
from linktool.causes import Cause
from linktool.evidence import Evidence, Source, banks_of
from linktool.machine import Chip, Machine

Confidence = Literal["certain", "likely", "possible", "cannot tell"]

CERTAIN, LIKELY, POSSIBLE = 2.7, 1.0, 0.15
"""Margins at and above which an explanation is called so."""
AT_MOST_LIKELY = 2.0
"""The margin at most of causes that say little of what must be read: little can speak against them."""
FEW = 2
"""More faults than that at once in one bank are rather one that is not known here, as three joined lines.
And so few wrong bytes after a check may simply have been written since: no chip is certain then."""
MANY_CELLS = 8
"""More bad cells than that without a pattern, and no cause is named."""
SHAKY = 0.25
"""Above this part of a bank's samples unsteady, in several chips, the link or the supply is suspected."""
RIVALS = 4
"""Other explanations named at most."""


@dataclass(frozen=True)
class Fault:
    """One fault and what speaks for it.

    cause       the simplest explanation
    confidence  of the cause
    wrong       samples that speak for it, of `tested` samples in its reach
    rivals      other causes that agree with every sample, simplest first
    chip        the suspect, where the profile tells and the evidence points to one
    chip_confidence  of the chip
    near        chips at whose places to look, where it is no single chip's fault
    """

    cause: Cause
    confidence: Confidence
    wrong: int
    tested: int
    rivals: tuple[Cause, ...] = ()
    chip: Chip | None = None
    chip_confidence: Confidence = "cannot tell"
    near: tuple[Chip, ...] = ()


@dataclass(frozen=True)
class Tested:
    """How well a bank was looked at. both: bits seen to hold a 0 and a 1, and never wrong, as a mask."""

    where: Range
    kind: str
    samples: int
    wrong: int
    both: int


@dataclass(frozen=True)
class Diagnosis:
    """What was found. noise: readings that came wrong once, which is the link and not memory. whole: as in
    Evidence. unplaced: wrong samples outside every bank of the profile."""

    source: Source
    faults: tuple[Fault, ...]
    tested: tuple[Tested, ...]
    noise: int = 0
    whole: bool = True
    unplaced: int = 0

    @property
    def sound(self) -> bool:
        """No fault of the memory was found where it was looked."""
        return not self.unplaced and all(fault.cause.kind == "noise" for fault in self.faults)


def diagnose(machine: Machine, evidence: Evidence) -> Diagnosis:
    """Explain the evidence."""
    cases = [case for bank in banks_of(machine) if (case := BankCase(bank, evidence)).samples]
    ram = [case for case in cases if case.bank.kind == "ram"]
    open_bits = {case.where: case.wrong for case in cases}
    faults = [fault for case in cases for fault in _unsteady(case, open_bits)]
    faults += [_of_common(common) for common in common_causes(ram, open_bits)]
    for case in cases:
        faults += _of_bank(case, ram, open_bits[case.where])
    if evidence.noise:
        tested = sum(len(case.samples) for case in cases)
        faults.append(Fault(Cause("noise"), "likely", evidence.noise, tested))
    placed = {sample.address for case in cases for sample in case.samples}
    unplaced = sum(1 for s in evidence.samples() if s.wrong and s.address not in placed)
    faults.sort(key=lambda fault: (fault.cause.kind == "noise", fault.cause.where, fault.cause.bits))
    looked = tuple(_tested(case) for case in cases)
    return Diagnosis(evidence.source, tuple(faults), looked, evidence.noise, evidence.whole, unplaced)


def confidence(margin: float) -> Confidence:
    """What a margin is called."""
    if margin >= CERTAIN:
        return "certain"
    if margin >= LIKELY:
        return "likely"
    return "possible" if margin >= POSSIBLE else "cannot tell"


def _tested(case: BankCase) -> Tested:
    wrong = sum(1 for sample in case.samples if sample.wrong or not sample.steady)
    return Tested(case.where, case.bank.kind, len(case.samples), wrong, case.seen_both())


def _unsteady(case: BankCase, open_bits: dict[Range, int]) -> list[Fault]:
    """Bytes that read differently each time, by the chips whose bits changed. A few bytes that read wrong
    steadily in the same bits belong to them: an unsteady bit can read alike twice."""
    by_chip: dict[Chip | int, tuple[int, set[int]]] = {}
    for sample in case.shaky:
        mask = 0
        for reading in sample.readings:
            mask |= reading ^ sample.readings[0]
        for bit in causes.bits_of(mask):
            key = case.bank.chip(bit) or bit
            bits, addresses = by_chip.get(key, (0, set()))
            by_chip[key] = (bits | 1 << bit, addresses | {sample.address})
    total, shaky = len(case.samples), len(case.shaky)
    if len(by_chip) > 1 and shaky > max(4, SHAKY * total):
        changing = causes.bits_of(sum(bits for bits, _ in by_chip.values()))
        return [Fault(Cause("noise", (case.where,), changing), "possible", shaky, total)]
    sure: Confidence = "likely" if len(by_chip) == 1 else "possible"
    faults = []
    for key, (mask, addresses) in by_chip.items():
        steady = {s.address for each in case.rounds for s in each if s.wrong & mask}
        if len(steady) <= len(addresses):
            addresses |= steady
            open_bits[case.where] &= ~mask
        chip = key if isinstance(key, Chip) else None
        cause = Cause("unsteady", (case.where,), causes.bits_of(mask), addresses=tuple(sorted(addresses)))
        chip_sure: Confidence = sure if chip else "cannot tell"
        faults.append(Fault(cause, sure, len(addresses), total, (Cause("noise"),), chip, chip_sure))
    return faults


def _of_common(common: Common) -> Fault:
    tested = sum(len(case.samples) for case in common.cases)
    candidate = common.candidate
    cause, margin = candidate.cause, common.margin
    if _alike(common.cases, cause):
        margin = min(margin, AT_MOST_LIKELY)
    return Fault(cause, confidence(margin), candidate.speaking, tested, common.rivals[:RIVALS])


def _alike(cases: Sequence[BankCase], cause: Cause) -> bool:
    """Whether a bank is called missing because one byte was read throughout: memory that had forgotten all by
    then can read so too. Where several pages read the high half of their addresses, nothing drives them."""
    return cause.kind == "missing" and any(len({s.found for s in case.samples}) == 1 for case in cases)


def _tied(case: BankCase, candidate: Candidate) -> list[Cause]:
    """The cause, and for a dead line of one chip those that differ from it in the line alone: one bit often
    shows that an address line is lost, and not which."""
    cause = candidate.cause
    if cause.kind != "dead line":
        return [cause]
    return [
        each.cause
        for each in case.candidates
        if each.cost == candidate.cost and replace(each.cause, lines=cause.lines) == cause
    ]


def _mixed(cover: Cover, cause: Cause) -> bool:
    """Whether bad bits come with an address line that is lost for the whole bank: what that does to them may
    hide that two data lines are joined, and no chip is bad."""
    lines = any(len(each.cause.bits) == 8 and each.cause.lines for each in cover.chosen)
    return lines and len(cause.bits) < 8


def _of_bank(case: BankCase, ram: Sequence[BankCase], bits: int) -> list[Fault]:
    cover = case.cover(bits)
    elsewhere = perhaps_elsewhere(case, ram)
    faults = []
    for candidate in cover.chosen:
        cause = candidate.cause
        if cause.kind == "cells" and len(cause.addresses) > MANY_CELLS and case.bank.kind == "ram":
            cause = replace(cause, kind="unclear", addresses=cause.addresses[:MANY_CELLS])
            faults.append(Fault(cause, "cannot tell", candidate.speaking, len(case.samples)))
            continue
        chip = case.chip_of(cause)
        tied = _tied(case, candidate)
        margin = case.cover(bits, tied, elsewhere).cost - cover.cost
        chip_margin = 0.0
        if chip:
            in_chip = {each.cause for each in case.candidates if case.chip_of(each.cause) == chip}
            apart = case.cover(bits, in_chip, elsewhere)
            chip_margin = apart.cost - cover.cost
        rivals = sorted(
            (c for c in (*case.candidates, *elsewhere) if c.mask & candidate.mask == candidate.mask),
            key=lambda each: each.cost,
        )
        if cause.kind in ("cells", "row", "other contents") or _alike([case], cause) or _mixed(cover, cause):
            margin, chip_margin = min(margin, AT_MOST_LIKELY), min(chip_margin, AT_MOST_LIKELY)
        if len(cover.chosen) > FEW or (case.source == "check" and candidate.speaking <= FEW):
            chip_margin = min(chip_margin, AT_MOST_LIKELY)
        near = tuple(found for bit in cause.bits if (found := case.bank.chip(bit)))
        if len(tied) > 1:
            cause = replace(cause, lines=tuple(sorted(line for each in tied for line in each.lines)))
        faults.append(
            Fault(
                cause,
                confidence(margin),
                candidate.speaking,
                len(case.samples),
                tuple(each.cause for each in rivals if each.cause not in tied)[:RIVALS],
                chip,
                confidence(chip_margin) if chip else "cannot tell",
                near if cause.kind == "joined bits" else (),
            )
        )
    return faults
