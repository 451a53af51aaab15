"""Judging diagnoses, and the table of what was named for what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from linktool.causes import Cause
from linktool.diagnosis import Diagnosis, Fault, diagnose
from linktool.evidence import Evidence
from tests.confusion.cases import Case

NOTHING = "nothing"


@dataclass(frozen=True)
class Result:
    """named: the kind of the first fault, or "nothing". right: kind, place, bits, lines and level are.
    right_chip: None where the profile cannot tell. wrong_chip: another one was called certain."""

    case: Case
    named: str
    confidence: str
    right: bool
    right_chip: bool | None
    wrong_chip: bool


def judge(case: Case, evidence: Evidence) -> Result:
    diagnosis = diagnose(case.machine, evidence)
    faults = [fault for fault in diagnosis.faults if fault.cause.kind != "noise"]
    named = [fault.chip.position for fault in faults if fault.chip]
    certain = {f.chip.position for f in faults if f.chip and f.chip_confidence == "certain"}
    return Result(
        case,
        faults[0].cause.kind if faults else "noise" if diagnosis.faults else NOTHING,
        faults[0].confidence if faults else "",
        _right(case, faults, diagnosis),
        None if case.chip is None else named == [case.chip],
        bool(certain - set((case.chip or "").split())),
    )


def _right(case: Case, faults: list[Fault], diagnosis: Diagnosis) -> bool:
    if not case.causes:
        return not faults
    return len(faults) == 1 and any(_same(faults[0].cause, cause) for cause in case.causes)


def _same(named: Cause, true: Cause) -> bool:
    """Of cells, the one address; of rows and unsteady bits, chip and bit; else everything."""
    if named.kind != true.kind or named.where != true.where:
        return False
    if true.addresses and named.addresses != true.addresses:
        return False
    if named.kind in ("cells", "row", "unsteady"):
        return not true.bits or named.bits == true.bits
    return (named.bits, named.lines, named.value, named.other) == (
        true.bits,
        true.lines,
        true.value,
        true.other,
    )


def summary(results: Iterable[Result]) -> tuple[float, float, int]:
    """Part of right classes, part of right chips where they can be told, and wrong chips called certain."""
    every = list(results)
    chips = [result.right_chip for result in every if result.right_chip is not None]
    return (
        sum(result.right for result in every) / len(every),
        sum(chips) / len(chips),
        sum(result.wrong_chip for result in every),
    )


def lines(results: Iterable[Result]) -> list[str]:
    """The confusion table, a row an injected class."""
    every = list(results)
    names = list(dict.fromkeys(result.case.name for result in every))
    kinds = sorted({result.named for result in every})
    found = [f"{'injected':<36}{'cases':>6}{'right':>7}{'chip':>9}   named"]
    for name in names:
        mine = [result for result in every if result.case.name == name]
        chips = [result.right_chip for result in mine if result.right_chip is not None]
        told = f"{sum(chips)}/{len(chips)}" if chips else "-"
        counts = Counter(result.named for result in mine)
        named = ", ".join(f"{kind} {counts[kind]}" for kind in kinds if counts[kind])
        found.append(f"{name:<36}{len(mine):>6}{sum(r.right for r in mine):>7}{told:>9}   {named}")
    classes, chips_part, wrong = summary(every)
    found.append(
        f"{len(every)} cases: right class {classes:.1%}, right chip {chips_part:.1%} where it can be told, "
        f"wrong chip called certain: {wrong}"
    )
    return found
