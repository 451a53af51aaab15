"""Faults that the bench log's entries found, and which later entry showed them mended. Pure.

A fault counts as mended when a later entry proves the bytes that were wrong, or looks at the same memory and
finds nothing wrong. That the same fault is found again is counted, not listed again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from formats.image import Image, Range
from linktool.bench_log import Record
from linktool.known_memory import range_of
from linktool.log_evidence import evidence_from


@dataclass
class FoundFault:
    """facts: the fault as the log keeps it, or None where bytes differed and no cause was named. where: the
    memory concerned. times: in how many entries it was found. mended: the entry that shows it gone."""

    first: Record
    last: Record
    facts: dict[str, Any] | None
    where: tuple[Range, ...]
    times: int = 1
    mended: Record | None = None


def faults_in(records: Iterable[Record]) -> list[FoundFault]:
    """In the order in which they were first found."""
    found: dict[str, FoundFault] = {}
    for record in records:
        seen = _found(record)
        for key, facts, where in seen:
            fault = found.get(key)
            if fault is None:
                found[key] = FoundFault(record, record, facts, where)
            else:
                fault.last, fault.times, fault.mended = record, fault.times + 1, None
        for key, fault in found.items():
            if (
                fault.mended is None
                and key not in {each[0] for each in seen}
                and _clears(record, fault.where)
            ):
                fault.mended = record
    return list(found.values())


def _found(record: Record) -> list[tuple[str, dict[str, Any] | None, tuple[Range, ...]]]:
    """The faults of one entry: a key that says which is the same, its facts, and where."""
    named = [each for each in record.get("faults", list, []) if isinstance(each, dict)]
    found: list[tuple[str, dict[str, Any] | None, tuple[Range, ...]]] = []
    for facts in named:
        if facts.get("kind") == "noise":
            continue
        where = _ranges(facts.get("where")) or (Range(0, 0xFFFF),)
        key = f"{facts.get('kind')} {where} {facts.get('bits')} {facts.get('lines')} {facts.get('addresses')}"
        found.append((key, facts, where))
    if named or record.facts.get("ok") is not False:
        return found
    where = _wrong_bytes(record) or _wrong_stretches(record)
    return [*found, (f"bytes {where}", None, where)] if where else found


def _ranges(value: object) -> tuple[Range, ...]:
    each = value if isinstance(value, list) else []
    return tuple(where for facts in each if (where := range_of(facts)))


def _wrong_bytes(record: Record) -> tuple[Range, ...]:
    evidence = evidence_from(record.facts.get("memory"))
    wrong = Image.from_cells((s.address, 0) for s in evidence.samples() if s.wrong) if evidence else Image()
    return tuple(segment.range for segment in wrong.segments)


def _wrong_stretches(record: Record) -> tuple[Range, ...]:
    return tuple(
        where
        for each in record.get("stretches", list, [])
        if isinstance(each, dict) and each.get("verdict") == "wrong" and (where := range_of(each))
    )


def _clears(record: Record, where: tuple[Range, ...]) -> bool:
    """Whether the entry shows the memory in order: all of it proven, or looked at and nothing found."""
    proven = (
        Image.from_cells(
            (address, 0)
            for each in _ranges(record.facts.get("proven"))
            for address in range(each.first, each.last + 1)
        )
        if record.command in ("enter", "check", "resume")
        else Image()
    )
    if proven and all(len(proven.slice(each)) == len(each) for each in where):
        return True
    if record.command == "diagnose" and record.facts.get("ok") is True:
        tested = _ranges(record.facts.get("segments"))
        return all(any(each.overlap(bank) == each for bank in tested) for each in where)
    if record.command == "survey":
        right = [
            stretch
            for facts in record.get("stretches", list, [])
            if isinstance(facts, dict)
            and facts.get("verdict") == "as expected"
            and (stretch := range_of(facts))
        ]
        return all(any(each.overlap(stretch) == each for stretch in right) for each in where)
    return False
