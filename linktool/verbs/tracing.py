"""trace show."""

from __future__ import annotations

from pathlib import Path

from linktool.bench import Bench
from linktool.bookkeeping import TraceReport
from linktool.commands import Values
from linktool.trace import read_trace


def trace(bench: Bench, values: Values) -> TraceReport:
    """The recordings in a file."""
    return TraceReport(values["file"], read_trace(Path(values["file"])))
