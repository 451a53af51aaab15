"""A program of the library as values: what its description and its source say. No parsing, no building.

Expressions are sums as expression.py reads them, templates are screen text as screen_text.py fills it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Parameter:
    """A value the user may set; `default` is an expression, shown with `digits` hex digits (2 or 4)."""

    name: str
    title: str
    default: str
    digits: int
    least: int
    most: int


@dataclass(frozen=True)
class Span:
    """Addresses first, first+step ... last that the program reads or writes; all are expressions.
    `restores`: what was there is put back at once, so reserved areas may be among them."""

    first: str
    last: str
    step: str = "$1"
    restores: bool = False


@dataclass(frozen=True)
class Left:
    """What the program leaves in first to last: `value` in every byte, or a copy of what began at
    `copy_of`; one of the two is given. All are expressions."""

    first: str
    last: str
    value: str = ""
    copy_of: str = ""


@dataclass(frozen=True)
class Answer:
    """Once the screen text `after` has come, type `keys`. Both are templates (screen_text.py)."""

    after: str
    keys: str


@dataclass(frozen=True)
class Outcome:
    """One thing the program may print, and what it means. Lines and `says` are templates.
    `times`: the text comes that many times on end. `repeats`: the one line comes once or more."""

    ok: bool
    prints: tuple[str, ...]
    says: str
    times: str = "$1"
    repeats: bool = False


@dataclass(frozen=True)
class Beat:
    """A character printed `times` times, once every `cycles` processor cycles exactly."""

    character: str
    cycles: int
    times: int


@dataclass(frozen=True)
class Program:
    """A program of the library. `cost` gives processor cycles: "fixed", "bytes" for each byte from
    first to last, and any parameter's name for each unit of it. size 0: not stated."""

    name: str
    title: str
    question: str
    text: str
    size: int
    ends: str
    needs: tuple[str, ...]
    zero_page: int
    cautions: tuple[str, ...]
    fixed: bool
    one_page: bool
    parameters: tuple[Parameter, ...]
    reads: tuple[Span, ...]
    writes: tuple[Span, ...]
    leaves: tuple[Left, ...]
    answers: tuple[Answer, ...]
    outcomes: tuple[Outcome, ...]
    cost: Mapping[str, int]
    beat: Beat | None
    source: str
    source_name: str

    def parameter(self, name: str) -> Parameter | None:
        return next((each for each in self.parameters if each.name == name), None)

    def good_outcome(self) -> Outcome:
        """What a machine in order makes it print."""
        return next((each for each in self.outcomes if each.ok), self.outcomes[0])
