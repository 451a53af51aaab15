"""map: what is known of a machine's memory, drawn from the bench log."""

from __future__ import annotations

from formats.image import Range
from linktool.bench import Bench
from linktool.bench_log import BenchLog
from linktool.bookkeeping import MapReport
from linktool.commands import Values
from linktool.known_memory import known_memory
from linktool.maps import FINE, PAGE, of_ranges


def draw(bench: Bench, values: Values) -> MapReport:
    """All 64 KiB in pages, or a range in pieces of 16 bytes."""
    machine = bench.machine
    records = [r for r in BenchLog.kept_in(bench.folders.state).read().records if r.machine == machine.name]
    known = known_memory(machine, records)
    where: Range | None = values["range"]
    if where:
        shown = of_ranges(f"machine {machine.name}, {where}", known.ranges, where, FINE)
    else:
        shown = of_ranges(f"machine {machine.name}, page by page", known.ranges, Range(0, 0xFFFF), PAGE)
    return MapReport(machine.name, shown, known.taken)
