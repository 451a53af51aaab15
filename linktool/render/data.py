"""Reports as plain values for --json: one object a command, keys that scripts may rely on.

Addresses are text of four hex digits, bytes two; ranges are {"first", "last"}.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from functools import singledispatch
from typing import Any

from formats.image import Image, Range, hex4
from linktool.dialect import printable
from linktool.jobs.listing import ConvertReport, FaultsReport, MachinesReport, PlanReport, PortsReport, Told
from linktool.jobs.report import Effort, Finding, Report, RunReport
from linktool.plan import Cost
from linktool.resident.forecast import Forecast

Data = dict[str, Any]


def range_data(where: Range) -> Data:
    return {"first": hex4(where.first), "last": hex4(where.last)}


def ranges_data(ranges: Iterable[Range]) -> list[Data]:
    return [range_data(where) for where in ranges]


def segments_data(image: Image) -> list[Data]:
    return ranges_data(segment.range for segment in image.segments)


def byte_data(value: int | None) -> str | None:
    return None if value is None else f"{value:02X}"


def finding_data(finding: Finding) -> Data:
    return {
        "address": hex4(finding.address),
        "expected": byte_data(finding.expected),
        "found": byte_data(finding.found),
        "kind": finding.kind,
    }


def effort_data(effort: Effort) -> Data:
    return {
        "keystrokes": effort.keystrokes,
        "lines": effort.lines,
        "lines_retyped": effort.lines_retyped,
        "lines_repaired": effort.lines_repaired,
        "printed": effort.printed,
        "wrong": effort.wrong,
        "seconds": round(effort.seconds, 3),
        "window": effort.window,
        "round_trip_ms": round(effort.round_trip_s * 1000, 1),
    }


@singledispatch
def data(report: object) -> Data:
    """The report as one object. TypeError for a report nobody has taught this module."""
    raise TypeError(f"no JSON for {type(report).__name__}")


@data.register
def _(report: Report) -> Data:
    result: Data = {
        "command": report.command,
        "ok": report.ok,
        "machine": report.machine,
        "port": report.port,
        "segments": segments_data(report.image),
        "bytes": len(report.image),
        **effort_data(report.effort),
        "via": report.via,
        "proof": report.proof,
        "proven": ranges_data(report.proven),
        "typed": ranges_data(report.typed),
        "differences": [finding_data(finding) for finding in report.differences],
        "noise": report.noise,
        "stopped": report.stopped,
        "lost": report.lost,
        "warnings": list(report.remarks),
    }
    if report.command == "read":
        result["saved"] = report.saved
        result["data"] = [
            {"first": hex4(each.first), "bytes": each.data.hex().upper()} for each in report.image.segments
        ]
    if report.screen:
        result["screen"] = list(report.screen)
    if report.ran:
        result["run"] = data(report.ran)
    return result


@data.register
def _(report: RunReport) -> Data:
    return {
        "command": report.command,
        "ok": report.ok,
        "machine": report.machine,
        "port": report.port,
        "address": hex4(report.address),
        "output": printable(report.output),
        "back_at_prompt": report.back_at_prompt,
        "one_way": report.one_way,
        "stopped": report.stopped,
        "lost": report.lost,
        **effort_data(report.effort),
    }


@data.register
def _(report: PortsReport) -> Data:
    return {"command": "ports", "ok": True, "ports": [asdict(port) for port in report.ports]}


@data.register
def _(report: MachinesReport) -> Data:
    rows = [{"name": name, "title": title, "file": path} for name, title, path in report.machines]
    result: Data = {"command": "machines", "ok": True, "machines": rows, "folder": report.folder}
    if report.shown:
        machine = report.shown
        result["machine"] = {
            "name": machine.name,
            "areas": [{**range_data(a.range), "kind": a.kind, "label": a.label} for a in machine.map()],
            "reserved": [
                {**range_data(r.range), "name": r.name, "reason": r.reason} for r in machine.reserved
            ],
            "symbols": {name: hex4(value) for name, value in machine.symbols.items()},
        }
    return result


def cost_data(cost: Cost) -> Data:
    return {"keystrokes": cost.keystrokes, "printed": cost.printed, "seconds": round(cost.seconds, 1)}


def forecast_data(forecast: Forecast) -> Data:
    """seconds and setup_seconds are null where the receiver cannot be used; `reason` says why."""
    possible = forecast.with_routines_s is not None and forecast.routines is not None
    return {
        "seconds": round(forecast.with_routines_s, 1) if forecast.with_routines_s is not None else None,
        "setup_seconds": round(forecast.setup_s, 1) if possible else None,
        "overwrites": ranges_data(forecast.routines.overwritten(True)) if forecast.routines else [],
        "typed_seconds": round(forecast.by_hand_s, 1),
        "auto": "receiver" if forecast.faster else "typed",
        "reason": forecast.reason,
    }


@data.register
def _(report: PlanReport) -> Data:
    return {
        "command": "plan",
        "ok": True,
        "machine": report.machine.name,
        "segments": segments_data(report.image),
        "bytes": len(report.image),
        "layout": report.layout,
        "lines": [line.text for line in report.plan.lines],
        **cost_data(report.plan.cost),
        "read_back": cost_data(report.reading),
        "receiver": None if report.forecast is None else forecast_data(report.forecast),
        "warnings": list(report.remarks),
    }


@data.register
def _(report: ConvertReport) -> Data:
    return {
        "command": "convert",
        "ok": True,
        "source": report.source,
        "target": report.target,
        "source_format": report.source_format,
        "target_format": report.target_format,
        "segments": ranges_data(report.segments),
        "bytes": report.bytes,
        "start": None if report.start is None else hex4(report.start),
        "warnings": list(report.remarks),
    }


@data.register
def _(report: Told) -> Data:
    return {"command": report.command, "ok": report.exit_status == 0, **dict(report.facts)}


@data.register
def _(report: FaultsReport) -> Data:
    return {
        "command": report.command,
        "ok": True,
        "faults": [{"form": form, "text": text} for form, text in report.faults],
        "options": [{"form": form, "text": text} for form, text in report.options],
    }
