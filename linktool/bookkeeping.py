"""Reports on what was done before: the log, a note, a page, a trace, a map. They only hold what is there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from linktool.bench_log import Record
from linktool.maps import Map
from linktool.trace import Entry


@dataclass(frozen=True)
class LogReport:
    """entries: numbered from 1 as they stand in the log. whole: show all of each."""

    path: str
    entries: tuple[tuple[int, Record], ...]
    total: int
    skipped: int = 0
    left_out: int = 0
    whole: bool = False
    command: str = "log"
    exit_status: int = 0


@dataclass(frozen=True)
class NoteReport:
    at: datetime
    text: str
    command: str = "note"
    exit_status: int = 0


@dataclass(frozen=True)
class PageReport:
    """A page was written. entries: jobs and notes in it."""

    path: str
    format: str
    entries: int
    skipped: int = 0
    command: str = "report"
    exit_status: int = 0


@dataclass(frozen=True)
class TraceReport:
    """The recordings in a trace file."""

    path: str
    recordings: tuple[tuple[Entry, ...], ...]
    command: str = "trace"
    exit_status: int = 0


@dataclass(frozen=True)
class MapReport:
    """What is known of a machine's memory. taken: from what, as sentences."""

    machine: str
    shown: Map
    taken: tuple[str, ...]
    command: str = "map"
    exit_status: int = 0


@dataclass(frozen=True)
class ForgottenReport:
    """Unfinished work was dropped, or there was none."""

    machine: str
    port: str
    what: str
    command: str = "resume"
    exit_status: int = 0
