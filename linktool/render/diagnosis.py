"""Diagnoses as text, as JSON and as a map of what was read."""

from __future__ import annotations

from collections.abc import Iterable

from formats.image import Range, Segment, hex4
from linktool.cautions import TOUCHING
from linktool.diagnosis import Diagnosis, Fault
from linktool.evidence import Evidence, Sample, Source
from linktool.jobs.diagnose import DiagnoseReport, Nothing
from linktool.log_facts import fault_facts, ranges_facts
from linktool.maps import Map, of_ranges
from linktool.render.data import Data, data
from linktool.render.fault_text import cause_text, chip_text, next_text, numbers_text
from linktool.render.maps import text_lines
from linktool.render.text import count, effort_lines, how_lost, lines

SAMPLED = (
    "These are a few bytes of each bank, chosen to show bad lines and chips; `linktool survey --deep` tries "
    "every byte."
)
"""A quick test does not see a single bad cell elsewhere."""


def fault_lines(fault: Fault, source: Source) -> list[str]:
    sure = {"certain": "Certain", "likely": "Likely", "possible": "Possible", "cannot tell": "Cannot tell"}
    result = [f"! {sure[fault.confidence]}: {cause_text(fault.cause)}."]
    result.append(f"  Numbers: {numbers_text(fault)}.")
    chip = chip_text(fault)
    if chip:
        result.append(f"  Where: {chip}.")
    others = [cause_text(rival) for rival in fault.rivals]
    if fault.cause.kind == "missing" and fault.confidence != "certain":
        others.insert(0, "memory that forgets within seconds, for want of refresh or supply")
    result.append(f"  What else it may be: {'; '.join(others) or _other_than(fault)}.")
    result.append(f"  Next: {next_text(fault, source)}")
    return result


def _other_than(fault: Fault) -> str:
    if fault.confidence == "cannot tell":
        return "several faults at once, or something that wrote there meanwhile"
    return "none of the causes known here agrees with every byte"


def diagnosis_lines(diagnosis: Diagnosis) -> list[str]:
    result = []
    for fault in diagnosis.faults:
        result += fault_lines(fault, diagnosis.source)
    if diagnosis.unplaced:
        result.append(
            f"! {count(diagnosis.unplaced, 'byte')} read wrong where the profile has neither RAM nor ROM."
        )
    if not diagnosis.whole:
        result.append("  The test stopped early: there may be more bad bytes than were seen.")
    if any(fault.cause.kind != "noise" for fault in diagnosis.faults):
        result.append(TOUCHING)
    if diagnosis.sound and diagnosis.tested:
        result.append("No fault of the memory was found in what was looked at.")
        if diagnosis.source == "pattern":
            result.append(SAMPLED)
    looked = "; ".join(
        f"{each.where} {count(each.samples, 'byte')}, {each.wrong} wrong" for each in diagnosis.tested
    )
    if looked:
        result.append(f"Looked at: {looked}.")
    return result


def evidence_map(evidence: Evidence, title: str = "") -> Map | None:
    """What was read in the banks where something is wrong, a cell for 16 bytes; None where nothing is."""
    known: list[tuple[Range, str]] = []
    wrong: list[int] = []
    for sample in evidence.samples():
        state = _state(sample)
        known.append((Range(sample.address, sample.address), state))
        if state != "right":
            wrong.append(sample.address)
    if not wrong:
        return None
    within = Range(min(wrong) & 0xF000, max(wrong) | 0x0FFF)
    return of_ranges(title or f"what was read, {within}", known, within)


def _state(sample: Sample) -> str:
    if not sample.steady:
        return "unsteady"
    return "differs" if sample.wrong else "right"


@lines.register
def _(report: DiagnoseReport) -> list[str]:
    result = [f"From the {report.taken}:"] if report.taken else []
    measured = report.measured
    looked = any(diagnosis.tested for diagnosis in report.diagnoses)
    before = " What was measured before that:" if looked else " Nothing was measured before that."
    if measured and measured.lost:
        result.append(f"! {how_lost(measured.lost)}.{before}")
    elif measured and measured.stopped:
        result.append(f"Stopped.{before}")
    for diagnosis, evidence in zip(report.diagnoses, report.evidence, strict=True):
        result += diagnosis_lines(diagnosis)
        drawn = evidence_map(evidence)
        if drawn:
            result += ["", *text_lines(drawn, empty_rows=False)]
    if measured:
        result += owed_lines(measured.owed.segments)
        if looked and not measured.owed:
            result.append("Memory is as it was before, byte for byte.")
        result += effort_lines(measured.effort)
    return result


def owed_lines(segments: Iterable[Segment]) -> list[str]:
    """Bytes that could not be given back, with what they were."""
    result = []
    for segment in segments:
        held = segment.data.hex(" ").upper()
        result.append(f"! {hex4(segment.first)}: {held} was there before and could not be put back.")
    if result:
        result.append("`linktool resume` tries again to put it back.")
    return result


@lines.register
def _(report: Nothing) -> list[str]:
    return [report.why]


@data.register
def _(report: DiagnoseReport) -> Data:
    measured = report.measured
    return {
        "command": "diagnose",
        "ok": report.ok,
        "machine": report.machine,
        "port": report.port,
        "from": report.taken,
        "faults": [
            {
                **fault_facts(fault),
                "says": cause_text(fault.cause),
                "next": next_text(fault, diagnosis.source),
            }
            | {"rivals": [cause_text(rival) for rival in fault.rivals]}
            for diagnosis in report.diagnoses
            for fault in diagnosis.faults
        ],
        "tested": [
            {"first": hex4(t.where.first), "last": hex4(t.where.last), "bytes": t.samples, "wrong": t.wrong}
            for diagnosis in report.diagnoses
            for t in diagnosis.tested
        ],
        "owed": ranges_facts(segment.range for segment in report.owed.segments),
        "stopped": bool(measured and measured.stopped),
        "lost": measured.lost if measured else "",
        "seconds": round(measured.effort.seconds, 1) if measured else 0.0,
    }


@data.register
def _(report: Nothing) -> Data:
    return {"command": "diagnose", "ok": True, "machine": report.machine, "faults": [], "says": report.why}
