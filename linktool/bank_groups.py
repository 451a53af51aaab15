"""Causes that concern several banks of RAM: a line before all of them, two banks that answer as one. Pure.

A common cause is believed where it explains the banks more simply than a cause in each of them does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from formats.image import Range
from linktool import causes
from linktool.bank_case import COSTS, BankCase, Candidate, pooled
from linktool.causes import ALL_BITS, Cause

ELSEWHERE = 2.0
"""Added for a cause before all RAM when no other bank speaks against it: the monitor's own memory works."""
NOT_ALL = 0.3
"""Added where a common cause does not concern all banks that were looked at."""
ONE_LINE_FOR_TWO = 0.2
"""Added for an address line before all RAM: that one bank answers for another is a smaller claim."""
_LINE_KINDS = ("dead line", "dead lines", "joined lines")


@dataclass(frozen=True)
class Common:
    """A common cause and the banks it explains. margin: by how much it is simpler than causes in each, and
    than the rivals, which are other common causes that would do as well."""

    candidate: Candidate
    cases: tuple[BankCase, ...]
    margin: float
    rivals: tuple[Cause, ...] = ()


def common_causes(ram: Sequence[BankCase], open_bits: dict[Range, int]) -> list[Common]:
    """The common causes that pay, best first. Takes the bits they explain out of `open_bits`."""
    accepted: list[Common] = []
    proposed = [*_lines_before_all(ram), *_same_in_some(ram), *_mirrored(ram)]
    while True:
        gains = [(_gain(cases, open_bits, candidate), candidate, cases) for candidate, cases in proposed]
        gain, candidate, cases = max(gains, key=lambda each: each[0], default=(0.0, None, ()))
        if candidate is None or gain <= 0:
            return accepted
        rivals = [
            each
            for each in gains
            if each[1].cause != candidate.cause and _does_as_well(each, candidate, cases, open_bits)
        ]
        margin = min([gain, *(gain - each[0] for each in rivals)])
        named = tuple(dict.fromkeys(each[1].cause for each in sorted(rivals, key=lambda each: -each[0])))
        accepted.append(Common(candidate, cases, margin, named))
        for case in cases:
            open_bits[case.where] &= ~candidate.mask


Proposal = tuple[Candidate, tuple[BankCase, ...]]


def _does_as_well(
    rival: tuple[float, Candidate, tuple[BankCase, ...]],
    candidate: Candidate,
    cases: Sequence[BankCase],
    open_bits: dict[Range, int],
) -> bool:
    """Whether the rival explains all that the candidate explains."""
    gain, other, concerned = rival
    wrong = [case for case in cases if open_bits[case.where] & candidate.mask]
    return gain > 0 and all(
        case in concerned and not open_bits[case.where] & candidate.mask & ~other.mask for case in wrong
    )


def _gain(cases: Sequence[BankCase], open_bits: dict[Range, int], candidate: Candidate) -> float:
    apart = sum(case.cover(open_bits[case.where]).cost for case in cases)
    rest = sum(case.cover(open_bits[case.where] & ~candidate.mask).cost for case in cases)
    return apart - rest - candidate.cost


def _lines_before_all(ram: Sequence[BankCase]) -> list[Proposal]:
    """Address lines that fail before all RAM, those that choose the bank among them."""
    if sum(1 for case in ram if case.wrong) < 1 or len(ram) < 2:
        return []
    lines = max(case.where.last for case in ram).bit_length()
    found = causes.of_all_bits(pooled(ram), (), lines)
    return [
        (Candidate(cause, 0xFF, COSTS[cause.kind] + ONE_LINE_FOR_TWO, speaking), tuple(ram))
        for cause, speaking in found.items()
        if cause.kind in _LINE_KINDS
    ]


def _same_in_some(ram: Sequence[BankCase]) -> list[Proposal]:
    """The same cause in several banks, as from a line or buffer that they share."""
    seen: dict[Cause, list[tuple[BankCase, Candidate]]] = {}
    for case in ram:
        for candidate in case.candidates:
            if candidate.cause.kind in ("stuck", "joined bits", "silent", "missing", *_LINE_KINDS):
                seen.setdefault(replace(candidate.cause, where=()), []).append((case, candidate))
    found: list[Proposal] = []
    for cause, each in seen.items():
        if len(each) < 2:
            continue
        cases = tuple(case for case, _ in each)
        everywhere = len(cases) == len(ram)
        mask = causes.mask_of(cause.bits)
        found.append(
            (
                Candidate(
                    cause if everywhere else replace(cause, where=tuple(case.where for case in cases)),
                    mask,
                    max(candidate.cost for _, candidate in each) + (0.0 if everywhere else NOT_ALL),
                    sum(candidate.speaking for _, candidate in each),
                ),
                cases,
            )
        )
    return found


def _mirrored(ram: Sequence[BankCase]) -> list[Proposal]:
    """Two banks that share their contents."""
    found: list[Proposal] = []
    for one, other in combinations(ram, 2):
        if not (one.wrong or other.wrong):
            continue
        speaking = causes.mirrors(pooled((one, other)), one.where, other.where)
        if speaking:
            cause = Cause("mirrored", (other.where,), ALL_BITS, other=one.where)
            found.append((Candidate(cause, 0xFF, COSTS["mirrored"], speaking), (one, other)))
    return found


def perhaps_elsewhere(case: BankCase, ram: Sequence[BankCase]) -> list[Candidate]:
    """Causes in all RAM that the samples of the other banks do not contradict: what is seen in one bank may
    lie before all of them."""
    if case.bank.kind != "ram":
        return []
    others = [other for other in ram if other is not case]
    return [
        replace(candidate, cause=replace(candidate.cause, where=()), cost=candidate.cost + ELSEWHERE)
        for candidate in case.candidates
        if _may_be_before_all(candidate.cause)
        and not any(_contradicts(other, candidate.cause) for other in others)
    ]


def _may_be_before_all(cause: Cause) -> bool:
    return cause.kind in ("stuck", "joined bits") or (cause.kind in _LINE_KINDS and len(cause.bits) == 8)


def _contradicts(other: BankCase, cause: Cause) -> bool:
    """Whether the other bank read as it could not if the cause lay before it too."""
    if cause.kind in _LINE_KINDS:
        if cause.kind in ("dead line", "dead lines"):
            reach = causes.dead(*cause.lines)
        else:
            reach = causes.joined(cause.lines[0], cause.lines[1], cause.value or 0)
        for each in other.rounds:
            cells: dict[int, int] = {}
            if any(cells.setdefault(reach(s.address), s.found) != s.found for s in each):
                return True
        return False
    found = {sample.found for each in other.rounds for sample in each}
    if cause.kind == "stuck":
        return any(value >> cause.bits[0] & 1 != cause.value for value in found)
    first, second = cause.bits
    return any((value >> first ^ value >> second) & 1 for value in found)
