"""What the bench log's entries say of a machine's memory: later ones over earlier ones. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, get_args

from formats.image import Range
from linktool.bench_log import Record
from linktool.log_evidence import evidence_from
from linktool.machine import Machine
from linktool.maps import PAGE
from linktool.page_states import State

SPOKEN_FOR = 40
"""Entries at most that are named as sources."""


@dataclass(frozen=True)
class Known:
    """ranges: what each stretch is known as, in the words of maps.LOOKS; taken: from which entries."""

    ranges: tuple[tuple[Range, str], ...]
    taken: tuple[str, ...]


def known_memory(machine: Machine, records: Iterable[Record]) -> Known:
    """From the profile on, entry by entry: surveys say what answers, checks what is proven."""
    states: list[str] = ["not probed"] * 0x10000
    for area in machine.areas:
        if area.kind in ("rom", "io"):
            _put(states, area.range, area.kind)
    taken: list[str] = []
    for record in records:
        if _take(states, record):
            taken.append(f"{record.command} of {record.at:%Y-%m-%d %H:%M}")
    return Known(tuple(_runs(states)), tuple(taken[-SPOKEN_FOR:]))


def _take(states: list[str], record: Record) -> bool:
    """Whether the entry said something."""
    told = False
    for page in record.get("pages", list, []):
        number, state = _page(page)
        if state:
            _put(states, Range(number * PAGE, number * PAGE + PAGE - 1), state)
            told = True
    for address in (*_marched(record), *_differing(record)):
        states[address] = "differs"
        told = True
    for name, state in (("typed", "typed"), ("proven", "proven")):
        if record.command not in ("enter", "check", "resume"):
            break
        for each in record.get(name, list, []):
            where = range_of(each)
            if where:
                _put(states, where, state)
                told = True
    evidence = evidence_from(record.facts.get("memory")) if record.command != "survey" else None
    for sample in evidence.samples() if evidence else ():
        if not sample.steady or sample.wrong:
            states[sample.address] = "differs" if sample.steady else "unsteady"
            told = True
    return told


def _marched(record: Record) -> Iterable[int]:
    """Addresses at which a march of a survey found a fault."""
    for march in record.get("marches", list, []):
        for line in march.get("lines", []) if isinstance(march, Mapping) else ():
            if isinstance(line, list) and line and (address := _address(line[0])) is not None:
                yield address


def _differing(record: Record) -> Iterable[int]:
    """Addresses at which a survey's own program could not be entered."""
    for each in record.get("differences", list, []) if record.command == "survey" else ():
        if isinstance(each, Mapping) and (address := _address(each.get("address"))) is not None:
            yield address


def _address(text: object) -> int | None:
    try:
        value = int(str(text), 16)
    except ValueError:
        return None
    return value if 0 <= value <= 0xFFFF else None


def _page(facts: object) -> tuple[int, str]:
    """A page's number and state; no state for what is no page."""
    if isinstance(facts, list) and len(facts) > 1 and facts[1] in get_args(State):
        try:
            number = int(str(facts[0]), 16)
        except ValueError:
            return 0, ""
        if 0 <= number <= 0xFF:
            return number, facts[1]
    return 0, ""


def range_of(facts: Any) -> Range | None:
    """A range as the log has it; None for what is none."""
    if not isinstance(facts, Mapping):
        return None
    try:
        return Range(int(facts["first"], 16), int(facts["last"], 16))
    except (KeyError, TypeError, ValueError):
        return None


def _put(states: list[str], where: Range, state: str) -> None:
    states[where.first : where.last + 1] = [state] * len(where)


def _runs(states: list[str]) -> Iterable[tuple[Range, str]]:
    first = 0
    for at in range(1, len(states) + 1):
        if at == len(states) or states[at] != states[first]:
            if states[first] != "not probed":
                yield Range(first, at - 1), states[first]
            first = at
