"""One bank's samples and the simplest set of causes that explains them. Pure.

A bank's wrong bits are covered by causes, each at its cost; the cheapest cover wins. It is exact: eight bits
have 256 subsets. How much dearer the cheapest cover without a cause is, is that cause's margin.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from formats.image import Range
from linktool import causes
from linktool.causes import Cause
from linktool.evidence import Bank, Evidence, Round, Sample
from linktool.machine import Chip

COSTS: dict[str, float] = {
    "stuck": 1.0,
    "missing": 1.0,
    "mirrored": 1.2,
    "dead line": 1.2,
    "dead lines": 1.9,
    "joined bits": 1.5,
    "joined lines": 1.6,
    "silent": 1.5,
    "row": 2.0,
    "cells": 1.5,
    "other contents": 2.5,
}
ONE_CHIP_ONLY = 1.0
"""Added where an address line fails for one chip and not for its neighbours."""
EACH_CELL = 0.7
"""Added for each further bad cell."""
TURNING = 1.0
"""Added for each bad cell that read wrong both as a 0 and as a 1: it is not stuck, it follows something."""
SOME_BITS = 0.5
"""Added where an address line fails for several chips, and the others have faults of their own."""
SEVERAL = 3
"""That many chips at least share a line rather than each having lost its own."""
EACH_OTHER_BYTE, MOST_FOR_OTHERS = 0.02, 6.0
"""Added for each byte that differs for no reason, up to a bound: a cause that foretells each byte gains."""
MOST_BITS = 6
"""Wrong in that many bits at least, memory holds something else rather than having so many bad chips."""
OVERWRITTEN = 0.3
"""Added, instead of a bad cell in each chip, where something else may have written a byte: in a check."""
ONE_BIT_WINS = 0.2
"""Added where of two joined bits one always wins: rarer than a level that wins."""


@dataclass(frozen=True)
class Candidate:
    """A cause, the bits it covers as a mask, its cost, and how many samples speak for it."""

    cause: Cause
    mask: int
    cost: float
    speaking: int


@dataclass(frozen=True)
class Cover:
    """The cheapest set of candidates for some bits."""

    cost: float
    chosen: tuple[Candidate, ...] = ()


class BankCase:
    """One bank, and what was read there. source: as in Evidence. wrong: the bits that read wrong somewhere,
    as a mask."""

    def __init__(self, bank: Bank, evidence: Evidence) -> None:
        self.bank = bank
        self.source = evidence.source
        parts = [bank.part(each) for each in evidence.rounds]
        self.samples: list[Sample] = [sample for part in parts for sample in part]
        self.shaky: list[Sample] = [sample for sample in self.samples if not sample.steady]
        self.rounds: list[Round] = [tuple(s for s in part if s.steady) for part in parts]
        self.wrong = causes.wrong_bits(self.rounds)

    @property
    def where(self) -> Range:
        return self.bank.range

    def seen_both(self) -> int:
        """Bits that were seen to hold both a 0 and a 1, and never wrong, as a mask."""
        ones = zeros = 0
        for each in self.rounds:
            for sample in each:
                ones |= sample.expected & sample.found
                zeros |= ~sample.expected & ~sample.found & 0xFF
        return ones & zeros & ~self.wrong

    def chip_of(self, cause: Cause) -> Chip | None:
        """The one chip a cause lies in; None where it concerns several, or the profile does not tell."""
        if cause.where != (self.where,) or not cause.bits or cause.kind in ("joined bits", "other contents"):
            return None
        chips = {self.bank.chip(bit) for bit in cause.bits}
        return chips.pop() if len(chips) == 1 else None

    @cached_property
    def candidates(self) -> tuple[Candidate, ...]:
        """Every cause that agrees with all steady samples of the bank."""
        if not self.wrong:
            return ()
        where, lines = (self.where,), self.bank.lines
        found: dict[Cause, int] = dict(causes.of_all_bits(self.rounds, where, lines))
        found.update(causes.of_data_lines(self.rounds, where))
        for bits in self._parts():
            found.update(causes.of_chip(self.rounds, where, bits, lines))
        cells = self._cells()
        found[cells] = len(cells.addresses)
        if self._holds_something_else(cells):
            found[replace(cells, kind="other contents", bits=causes.ALL_BITS)] = len(cells.addresses)
        candidates = [
            Candidate(cause, causes.mask_of(cause.bits) & self.wrong, self._cost(cause), speaking)
            for cause, speaking in found.items()
            if causes.mask_of(cause.bits) & self.wrong
        ]
        return (*candidates, *self._shared_lines(candidates))

    def _shared_lines(self, candidates: Sequence[Candidate]) -> list[Candidate]:
        """An address line that fails for several chips at once: it is the bank's, whatever else is wrong."""
        seen: dict[Cause, list[Candidate]] = {}
        known = {each.cause for each in candidates}
        for each in candidates:
            if each.cause.kind in ("dead line", "joined lines") and len(each.cause.bits) < 8:
                seen.setdefault(replace(each.cause, bits=causes.ALL_BITS), []).append(each)
        found = []
        for cause, parts in seen.items():
            if len(parts) >= SEVERAL and cause not in known:
                mask = causes.mask_of({bit for part in parts for bit in causes.bits_of(part.mask)})
                speaking = max(part.speaking for part in parts)
                found.append(Candidate(cause, mask, COSTS[cause.kind] + SOME_BITS, speaking))
        return found

    def _parts(self) -> list[tuple[int, ...]]:
        """The bits of each chip; single bits where the profile names no chip for them."""
        parts = set()
        for bit in causes.ALL_BITS:
            chip = self.bank.chip(bit)
            parts.add(chip.bits if chip else (bit,))
        return sorted(parts)

    def _cells(self) -> Cause:
        """The wrong bytes as such, over all chips: something else may have written there."""
        addresses = tuple(sorted({s.address for each in self.rounds for s in each if s.wrong}))
        return Cause("cells", (self.where,), causes.bits_of(self.wrong), addresses=addresses)

    def _holds_something_else(self, cells: Cause) -> bool:
        """Whether the bytes may simply be others than was thought: not just after a test has written them."""
        if len(cells.bits) < MOST_BITS or len(cells.addresses) < 3:
            return False
        if self.source == "rom":
            return 4 * len(cells.addresses) > len(self.samples)
        return self.source == "check"

    def _cost(self, cause: Cause) -> float:
        cost = COSTS[cause.kind]
        if cause.kind == "cells" and self.source == "check" and len(self._chips(cause.bits)) > 1:
            cost += OVERWRITTEN + EACH_CELL * (len(cause.addresses) - 1)
        elif cause.kind == "cells":
            bad, turning = self._bad_cells(cause)
            cost += EACH_CELL * (bad - 1) + TURNING * turning
        elif cause.kind == "other contents":
            cost += min(MOST_FOR_OTHERS, EACH_OTHER_BYTE * len(cause.addresses))
        elif cause.kind in ("dead line", "joined lines") and len(cause.bits) < 8:
            cost += ONE_CHIP_ONLY
        elif cause.kind == "joined bits" and cause.value is None:
            cost += ONE_BIT_WINS
        return cost

    def _chips(self, bits: Iterable[int]) -> set[Chip | int]:
        """The chips, or single data lines where the profile names none, that serve these bits."""
        return {self.bank.chip(bit) or bit for bit in bits}

    def _bad_cells(self, cause: Cause) -> tuple[int, int]:
        """How many cells of single chips would have to be bad, and how many of those read wrong both ways."""
        mask = causes.mask_of(cause.bits)
        wrong: dict[int, tuple[int, int]] = {}
        for each in self.rounds:
            for sample in each:
                bad = sample.wrong & mask
                if bad:
                    zeros, ones = wrong.get(sample.address, (0, 0))
                    wrong[sample.address] = (zeros | bad & ~sample.found, ones | bad & sample.found)
        parts = [
            (self._chips(causes.bits_of(zeros | ones)), self._chips(causes.bits_of(zeros & ones)))
            for zeros, ones in wrong.values()
        ]
        return sum(len(bad) for bad, _ in parts), sum(len(turning) for _, turning in parts)

    def cover(
        self,
        bits: int,
        without: Collection[Cause] = (),
        also: Iterable[Candidate] = (),
    ) -> Cover:
        """The cheapest cover of the wrong bits in mask `bits`, leaving out the causes in `without` and with
        the candidates in `also` added. Infinite cost where there is none."""
        kept = [candidate for candidate in (*self.candidates, *also) if candidate.cause not in without]

        @lru_cache(maxsize=256)
        def best(left: int) -> Cover:
            if not left:
                return Cover(0.0)
            lowest = left & -left
            found = Cover(float("inf"))
            for candidate in kept:
                if candidate.mask & lowest:
                    rest = best(left & ~candidate.mask)
                    if rest.cost + candidate.cost < found.cost:
                        found = Cover(rest.cost + candidate.cost, (candidate, *rest.chosen))
            return found

        return best(self.wrong & bits)


def pooled(cases: Sequence[BankCase]) -> list[Round]:
    """The steady samples of several banks, round by round."""
    return [
        tuple(sample for part in parts for sample in part)
        for parts in zip(*(case.rounds for case in cases), strict=True)
    ]
