"""Faults of the wire, counted: each key and printed character may be lost, doubled, changed or late.

Sits in the board's adapter like the board's own faults. Besides probabilities there are single faults, at a
key or character by its number, and bursts, in which a stretch of characters is spoilt, as by a loose plug.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from random import Random

from linktool.board.wire_faults import WireFault

KINDS = ("lost", "doubled", "changed")


@dataclass(frozen=True)
class Disturbance:
    """rates: "keys lost" and so on -> probability. singles: ("keys", number) -> kind. burst: probability that
    one begins at a character. late: probability of a byte being late by up to late_s."""

    rates: dict[str, float] = field(default_factory=dict)
    singles: dict[tuple[str, int], str] = field(default_factory=dict)
    burst: float = 0.0
    late: float = 0.0
    late_s: float = 0.0


class Disturbed(WireFault):
    """The wire with its disturbance. `mend` ends it: it is `whole` then; `counts` says what happened."""

    def __init__(self, disturbance: Disturbance, random: Random) -> None:
        self.disturbance = disturbance
        self.counts: Counter[str] = Counter()
        self._random = random
        self._passed = Counter[str]()
        self._burst_left = 0
        self.whole = False

    def mend(self) -> None:
        """From now on nothing is disturbed."""
        self.whole = True

    def key(self, code: int) -> list[int]:
        return self._pass("keys", code)

    def print(self, code: int) -> list[int]:
        return self._pass("prints", code)

    def delay(self) -> float:
        plan = self.disturbance
        if self.whole or not plan.late or self._random.random() >= plan.late:
            return 0.0
        self.counts["late bytes"] += 1
        return self._random.uniform(0.0, plan.late_s)

    def _pass(self, way: str, code: int) -> list[int]:
        self._passed[way] += 1
        if self.whole:
            return [code]
        kind = self.disturbance.singles.get((way, self._passed[way])) or self._drawn(way)
        if not kind:
            return [code]
        self.counts[f"{way}: {kind}"] += 1
        if kind == "lost":
            return []
        return [code, code] if kind == "doubled" else [self._changed(code)]

    def _drawn(self, way: str) -> str:
        plan, random = self.disturbance, self._random
        if self._burst_left:
            self._burst_left -= 1
            return random.choice(KINDS) if random.random() < 0.5 else ""
        if plan.burst and random.random() < plan.burst:
            self._burst_left = random.randint(2, 20)
            self.counts["bursts of noise"] += 1
        for kind in KINDS:
            rate = plan.rates.get(f"{way} {kind}", 0.0)
            if rate and random.random() < rate:
                return kind
        return ""

    def _changed(self, code: int) -> int:
        if self._random.random() < 0.7:
            return code ^ 1 << self._random.randrange(7)
        return self._random.choice([other for other in range(0x80) if other != code])
