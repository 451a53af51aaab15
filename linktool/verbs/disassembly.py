"""read --as code."""

from __future__ import annotations

from linktool.bench import Bench
from linktool.commands import Values
from linktool.disassembly import disassemble
from linktool.jobs.code import CodeReport
from linktool.jobs.report import Report
from linktool.verbs import transfer


def read(bench: Bench, values: Values) -> Report | CodeReport:
    """Read as ever; decode what came where that is asked for."""
    report = transfer.read(bench, values)
    if values["as"] != "code":
        return report
    machine = bench.machine
    return CodeReport(report, disassemble(report.image, machine.symbols, machine.processor))
