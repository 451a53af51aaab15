"""What earlier commands have entered into the machine at this port, as the bench log has it.

Resident routines keep clear of it where there is other room: the commands of one evening are talks of their
own, and a program entered an hour ago may still be wanted. Older entries count for nothing: boards of this
kind forget everything when their power goes.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from typing import Any

from formats.image import Range
from linktool.bench import Bench
from linktool.bench_log import BenchLog, LogError, Wanted, select
from linktool.conversation import Conversation
from linktool.resident.residence import residence

RECENT = timedelta(hours=24)
READ_BYTES = 1 << 20
"""Of the log, its newest part: some thousands of entries."""


def be_wary(bench: Bench, talk: Conversation) -> None:
    """Tell the talk where earlier ones have entered something. A log that cannot be read tells nothing."""
    found: list[Range] = []
    with suppress(LogError):
        contents = BenchLog.kept_in(bench.folders.state).read(READ_BYTES)
        wanted = Wanted(bench.machine.name, bench.port_name, since=bench.now() - RECENT)
        for record in select(contents.records, wanted):
            for facts in record.get("typed", list, []):
                found += _range(facts)
    residence(talk).wary = tuple(dict.fromkeys(found))


def _range(facts: Any) -> list[Range]:
    """A range as the log holds it; nothing for what is none."""
    try:
        return [Range(int(facts["first"], 16), int(facts["last"], 16))]
    except (KeyError, TypeError, ValueError):
        return []
