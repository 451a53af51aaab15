"""A survey held against the profile's memory map: stretches that answer alike, and if they should. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from formats.image import Range
from linktool.evidence import banks_of
from linktool.machine import Machine
from linktool.page_states import ERASED, Page, State
from linktool.probes import PAGE

Verdict = Literal["as expected", "more than expected", "wrong"]

_FITTING: dict[str, tuple[State, ...]] = {
    "ram": ("ram", "in use"),
    "rom": ("rom",),
    "io": ("io", "skipped"),
    "none": ("floating",),
}
_MORE: dict[str, tuple[State, ...]] = {
    "none": ("ram", "rom", "io", "mirror", "faulty"),
    "io": ("rom", "floating"),
}


_MEMORY = {"ram", "in use", "faulty"}


@dataclass(frozen=True)
class Stretch:
    """Neighbouring pages of one bank that answer alike. expected: the profile's kind; probed: how many of
    its pages were looked at; faulty: how many of those kept only some bits; of: what it mirrors. unsure: what
    else it may be."""

    range: Range
    label: str
    expected: str
    state: State
    probed: int
    faulty: int
    of: Range | None
    verdict: Verdict
    unsure: str = ""


def kinds_of(machine: Machine) -> dict[int, str]:
    """For each page what the profile has there; of several, I/O before ROM before RAM."""
    rank = ("none", "ram", "rom", "io")
    found: dict[int, str] = {}
    for page in range(0x100):
        whole = Range(page * PAGE, page * PAGE + PAGE - 1)
        found[page] = max((a.kind for a in machine.map() if a.range.overlap(whole)), key=rank.index)
    return found


def stretches(machine: Machine, pages: Sequence[Page]) -> tuple[Stretch, ...]:
    """What was found, in order of address. A bank is one stretch where pages spread over it were looked at
    and all answer alike."""
    kinds = kinds_of(machine)
    found: list[Stretch] = []
    for where, label in _places(machine):
        mine = [p for p in pages if p.number * PAGE in where and p.state != "not probed"]
        if not mine:
            continue
        groups = _alike(mine)
        for group in groups:
            first, last = group[0].number, group[-1].number
            whole = Range(first * PAGE, last * PAGE + PAGE - 1)
            if len(groups) == 1 and _speak_for(group, where):
                whole = where
            kind, state = kinds[first], _main_state(group)
            faulty = sum(page.state == "faulty" for page in group)
            mirrored, verdict = _mirrored(group, whole), _verdict(kind, state)
            unsure = next((page.reason for page in group if page.reason == ERASED), "")
            found.append(Stretch(whole, label, kind, state, len(group), faulty, mirrored, verdict, unsure))
    return tuple(found)


def _speak_for(group: Sequence[Page], where: Range) -> bool:
    """Whether the pages looked at are spread over the whole place: no more is left out at its ends than
    between them."""
    numbers = [page.number for page in group]
    between = max((after - before - 1 for before, after in pairwise(numbers)), default=0)
    ends = max(numbers[0] - where.first // PAGE, where.last // PAGE - numbers[-1])
    return ends <= between


def _places(machine: Machine) -> Iterable[tuple[Range, str]]:
    """Page-wise stretches of the profile: banks, I/O pages and holes."""
    banks = {bank.range: bank.label for bank in banks_of(machine)}
    kinds = kinds_of(machine)
    at = 0
    while at < 0x100:
        bank = next((r for r in banks if r.first // PAGE <= at <= r.last // PAGE), None)
        end = at
        if bank and kinds[at] in ("ram", "rom"):
            while end < bank.last // PAGE and kinds[end + 1] == kinds[at]:
                end += 1
            label = banks[bank]
        else:
            while end < 0xFF and kinds[end + 1] == kinds[at] and kinds[at] in ("io", "none"):
                end += 1
            whole = Range(at * PAGE, end * PAGE + PAGE - 1)
            names = [a.label for a in machine.areas if a.kind == kinds[at] and a.range.overlap(whole)]
            label = names[0] if names else "nothing fitted"
        yield Range(at * PAGE, end * PAGE + PAGE - 1), label
        at = end + 1


def _alike(pages: Sequence[Page]) -> list[list[Page]]:
    groups: list[list[Page]] = []
    for page in pages:
        if groups and _same(groups[-1][-1], page):
            groups[-1].append(page)
        else:
            groups.append([page])
    return groups


def _same(one: Page, other: Page) -> bool:
    states = {one.state, other.state}
    if states <= _MEMORY:
        return True
    if len(states) > 1:
        return False
    if one.of is None or other.of is None:
        return one.of is other.of
    return one.number - one.of == other.number - other.of


def _main_state(group: Sequence[Page]) -> State:
    """The worst of pages that belong together: what was written to one may hide what the next one shows."""
    states = {page.state for page in group}
    return next((state for state in ("faulty", "ram") if state in states), group[0].state)


def _mirrored(group: Sequence[Page], whole: Range) -> Range | None:
    first = group[0]
    if first.of is None:
        return None
    shift = (first.of - first.number) * PAGE
    return Range((whole.first + shift) % 0x10000, (whole.first + shift) % 0x10000 + len(whole) - 1)


def _verdict(kind: str, state: State) -> Verdict:
    if state in _FITTING[kind]:
        return "as expected"
    return "more than expected" if state in _MORE.get(kind, ()) else "wrong"
