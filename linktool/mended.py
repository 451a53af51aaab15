"""Faults that the bench log's entries found, and which later entry showed them mended. Pure.

A fault counts as mended when a later entry proves all bytes of its place; a fault with a cause also when a
later test of that place finds nothing. That the same fault is found again is counted, not listed again.
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
        again = {key for key, _, _ in seen}
        for key, fault in found.items():
            if fault.mended is None and key not in again and _clears(record, fault):
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


def _clears(record: Record, fault: FoundFault) -> bool:
    """Whether the entry shows the memory in order."""
    if _cover(_proven(record), fault.where):
        return True
    if fault.facts is None:
        return False
    if record.command == "diagnose" and record.facts.get("ok") is True:
        return _cover(_ranges(record.facts.get("segments")), fault.where)
    if record.command == "survey":
        return _cover(_as_expected(record), fault.where)
    return False


def _proven(record: Record) -> tuple[Range, ...]:
    if record.command not in ("enter", "check", "resume"):
        return ()
    return _ranges(record.facts.get("proven"))


def _as_expected(record: Record) -> tuple[Range, ...]:
    return tuple(
        where
        for facts in record.get("stretches", list, [])
        if isinstance(facts, dict) and facts.get("verdict") == "as expected" and (where := range_of(facts))
    )


def _cover(held: tuple[Range, ...], wanted: tuple[Range, ...]) -> bool:
    """Whether each wanted range lies within the held ones."""
    cells = bytearray(0x10000)
    for each in held:
        cells[each.first : each.last + 1] = b"\1" * len(each)
    return bool(wanted) and all(all(cells[each.first : each.last + 1]) for each in wanted)
