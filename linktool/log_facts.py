"""What of a report goes into the bench log, as plain JSON values. Reports that are not about a job give none.

Addresses are text of four hex digits, bytes of two, as in --json. Long lists are cut and counted; what a
diagnosis needs is kept whole, packed, where there were differences.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from functools import singledispatch
from typing import Any

from formats.image import Image, Range, hex4
from linktool.bookkeeping import NoteReport
from linktool.diagnosis import Diagnosis, Fault
from linktool.dialect import printable
from linktool.evidence import from_check
from linktool.jobs.diagnose import DiagnoseReport
from linktool.jobs.measure import Measured
from linktool.jobs.report import Effort, Finding, Report, RunReport
from linktool.jobs.resume import GiveBackReport
from linktool.jobs.survey import SurveyReport
from linktool.jobs.try_program import RoundReport, TrialReport
from linktool.log_evidence import evidence_facts

Facts = dict[str, Any]
LISTED = 64
"""Differences listed in words."""
OUTPUT = 1 << 16
"""Characters of a program's output kept; of a longer one the end."""


@singledispatch
def facts_of(report: object) -> Facts | None:
    """The facts of a report; None for one that is not logged."""
    return None


def range_facts(where: Range) -> Facts:
    return {"first": hex4(where.first), "last": hex4(where.last)}


def ranges_facts(ranges: Iterable[Range]) -> list[Facts]:
    return [range_facts(where) for where in ranges]


def crc32_of(image: Image) -> str:
    """CRC-32 of the bytes in order of address, as zlib computes it (ISO-HDLC); eight hex digits."""
    value = 0
    for segment in image.segments:
        value = zlib.crc32(segment.data, value)
    return f"{value:08X}"


def _finding(finding: Finding) -> Facts:
    found = None if finding.found is None else f"{finding.found:02X}"
    return {
        "address": hex4(finding.address),
        "expected": f"{finding.expected:02X}",
        "found": found,
        "kind": finding.kind,
    }


def _effort(effort: Effort) -> Facts:
    return {
        "seconds": round(effort.seconds, 1),
        "keystrokes": effort.keystrokes,
        "lines": effort.lines,
        "wrong": effort.wrong,
    }


@facts_of.register
def _(report: Report) -> Facts:
    facts: Facts = {
        "ok": report.ok,
        "status": report.exit_status,
        "segments": ranges_facts(segment.range for segment in report.image.segments),
        "bytes": len(report.image),
        "crc32": crc32_of(report.image),
        "proof": report.proof,
        "proven": ranges_facts(report.proven),
        "via": report.via,
        **_effort(report.effort),
    }
    if report.typed and report.command == "enter":
        facts["typed"] = ranges_facts(report.typed)
    if report.differences:
        facts["differing"] = len(report.differences)
        facts["differences"] = [_finding(finding) for finding in report.differences[:LISTED]]
        proven = Image.from_runs(
            (s.first, s.data) for where in report.proven for s in report.image.slice(where).segments
        )
        facts["memory"] = evidence_facts(from_check("check", proven, report.differences, report.noise))
    facts.update((name, value) for name, value in _ended(report).items())
    if report.noise:
        facts["noise"] = report.noise
    if report.saved:
        facts["saved"] = report.saved
    if report.ran:
        facts["ran"] = facts_of(report.ran)
    return facts


def _ended(
    report: Report | RunReport | SurveyReport | TrialReport | Measured | GiveBackReport,
) -> Facts:
    """How it ended where that was not the proper end."""
    facts: Facts = {}
    if report.stopped:
        facts["stopped"] = True
    if report.lost:
        facts["lost"] = report.lost
    return facts


@facts_of.register
def _(report: RunReport) -> Facts:
    return {
        "ok": report.ok,
        "status": report.exit_status,
        "address": hex4(report.address),
        "output": printable(report.output[-OUTPUT:]),
        "back_at_prompt": report.back_at_prompt,
        **_effort(report.effort),
        **_ended(report),
    }


@facts_of.register
def _(report: TrialReport) -> Facts | None:
    if report.refused:
        return None
    facts: Facts = {
        "ok": report.ok,
        "status": report.exit_status,
        "program": report.name,
        "question": report.question,
        "output": printable(report.output[-OUTPUT:]),
        **_ended(report),
    }
    if report.verdict:
        facts["says"] = "; ".join((report.verdict.sentence, *report.remarks))
    if report.entered:
        facts["entered"] = facts_of(report.entered)
    return facts


@facts_of.register
def _(report: RoundReport) -> Facts:
    trials = [facts for trial in report.trials if (facts := facts_of(trial))]
    return {"ok": report.exit_status == 0, "status": report.exit_status, "trials": trials}


@facts_of.register
def _(report: SurveyReport) -> Facts:
    facts: Facts = {
        "ok": report.ok,
        "status": report.exit_status,
        "pages": [
            [f"{page.number:02X}", page.state] + ([f"{page.of:02X}"] if page.of is not None else [])
            for page in report.pages
        ],
        "stretches": [
            {
                **range_facts(each.range),
                "label": each.label,
                "expected": each.expected,
                "state": each.state,
                "verdict": each.verdict,
                **({"of": range_facts(each.of)} if each.of else {}),
            }
            for each in report.stretches
        ],
        "memory": evidence_facts(report.evidence),
        **_effort(report.effort),
        **_ended(report),
    }
    if report.owed:
        facts["owed"] = [
            {"first": hex4(segment.first), "bytes": segment.data.hex().upper()}
            for segment in report.owed.segments
        ]
    if report.roms:
        facts["roms"] = [
            {
                **range_facts(rom.range),
                "crc32": f"{rom.crc32:08X}",
                "ok": rom.ok,
                "against": rom.against,
                "differences": [_finding(finding) for finding in rom.differences[:LISTED]],
            }
            for rom in report.roms
        ]
    if report.marches:
        facts["marches"] = [
            {
                **range_facts(march.range),
                "ok": march.ok,
                "lines": [
                    [hex4(line.address), f"{line.expected:02X}", f"{line.found:02X}"] for line in march.lines
                ],
            }
            for march in report.marches
        ]
    if report.not_entered:
        facts["differing"] = len(report.not_entered)
        facts["differences"] = [_finding(finding) for finding in report.not_entered[:LISTED]]
    if report.rom_evidence:
        facts["rom_memory"] = [evidence_facts(each) for each in report.rom_evidence]
    if report.diagnoses:
        facts["faults"] = [fault for each in report.diagnoses for fault in faults_facts(each)]
    return facts


@facts_of.register
def _(report: DiagnoseReport) -> Facts:
    facts: Facts = {
        "ok": report.ok,
        "status": report.exit_status,
        "faults": [fault for each in report.diagnoses for fault in faults_facts(each)],
    }
    if report.taken:
        facts["from"] = report.taken
    if report.measured:
        measured = report.measured
        facts["segments"] = ranges_facts(measured.banks)
        facts["memory"] = evidence_facts(measured.evidence)
        facts.update(_effort(measured.effort))
        facts.update(_ended(measured))
    return facts


@facts_of.register
def _(report: GiveBackReport) -> Facts:
    return {
        "ok": report.ok,
        "status": report.exit_status,
        "test": report.test,
        "restored": ranges_facts(report.restored),
        "left": ranges_facts(report.left),
        **_effort(report.effort),
        **_ended(report),
    }


@facts_of.register
def _(report: NoteReport) -> Facts:
    return {"text": report.text}


def faults_facts(diagnosis: Diagnosis) -> list[Facts]:
    """The faults a diagnosis names."""
    return [fault_facts(fault) for fault in diagnosis.faults]


def fault_facts(fault: Fault) -> Facts:
    cause = fault.cause
    facts: Facts = {
        "kind": cause.kind,
        "where": ranges_facts(cause.where),
        "bits": list(cause.bits),
        "confidence": fault.confidence,
        "wrong": fault.wrong,
        "tested": fault.tested,
    }
    if cause.lines:
        facts["lines"] = list(cause.lines)
    if cause.value is not None:
        facts["value"] = cause.value
    if cause.addresses:
        facts["addresses"] = [hex4(address) for address in cause.addresses[:LISTED]]
    if cause.other:
        facts["other"] = range_facts(cause.other)
    if fault.chip:
        facts["chip"] = fault.chip.position
        facts["chip_confidence"] = fault.chip_confidence
    if fault.near:
        facts["near"] = [chip.position for chip in fault.near]
    return facts
