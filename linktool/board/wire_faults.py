"""Faults of the way between the host and the board: keys and characters lost, doubled, changed or late.

Each draws from its own seeded random numbers, so that a run is the same every time.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import Literal

Way = Literal["keys", "prints"]
Kind = Literal["lost", "doubled", "changed"]


@dataclass
class WireFault:
    """No fault at all."""

    def key(self, code: int) -> list[int]:
        """What becomes of a byte on its way to the keyboard."""
        return [code]

    def print(self, code: int) -> list[int]:
        """What becomes of a character on its way to the host."""
        return [code]

    def delay(self) -> float:
        """Seconds a byte is late."""
        return 0.0


@dataclass
class Noise(WireFault):
    """Each byte of one way meets the fault with this probability; a changed one has one of 7 bits turned."""

    way: Way
    kind: Kind
    probability: float
    random: Random

    def _pass(self, code: int) -> list[int]:
        if self.random.random() >= self.probability:
            return [code]
        if self.kind == "lost":
            return []
        return [code, code] if self.kind == "doubled" else [code ^ 1 << self.random.randrange(7)]

    def key(self, code: int) -> list[int]:
        return self._pass(code) if self.way == "keys" else [code]

    def print(self, code: int) -> list[int]:
        return self._pass(code) if self.way == "prints" else [code]


@dataclass
class LatencyBurst(WireFault):
    """Now and then a byte, either way, is held back."""

    extra_s: float
    probability: float
    random: Random

    def delay(self) -> float:
        return self.extra_s if self.random.random() < self.probability else 0.0
