"""The page of an evening, or of a board's whole life, from the entries of the bench log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from formats.image import Range
from linktool.bench_log import Record
from linktool.known_memory import Known, known_memory
from linktool.machine import Machine
from linktool.maps import FINE, PAGE, Map, of_ranges
from linktool.mended import FoundFault, faults_in
from linktool.render import board_plan, maps
from linktool.render.document import Block, Entry, Figure, Heading, Paragraph, Table, to_html, to_markdown
from linktool.render.entries import details, failed, fault_text, headline
from linktool.render.text import count, listed

LISTED = 12
"""Differences of one job listed at most."""
ZOOMED = 4
"""Banks with something wrong that are drawn in detail at most."""


@dataclass(frozen=True)
class Page:
    """title; now: when it is made; records: in order of time; machines: profiles of those that are known."""

    title: str
    now: datetime
    records: tuple[Record, ...]
    machines: Mapping[str, Machine]

    def html(self) -> str:
        return to_html(self.title, self._blocks())

    def markdown(self) -> str:
        return to_markdown(self.title, self._blocks())

    def _blocks(self) -> list[Block]:
        blocks: list[Block] = [Paragraph(self._period(), quiet=True), _summary(self.records)]
        names = list(dict.fromkeys(record.machine for record in self.records if record.machine))
        for name in names:
            mine = [record for record in self.records if record.machine == name]
            blocks += _machine(name, self.machines.get(name), mine)
        return blocks + _days(self.records, several=len(names) > 1)

    def _period(self) -> str:
        first, last = self.records[0].at, self.records[-1].at
        span = f"{first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"
        return f"{span}. Written {self.now:%Y-%m-%d %H:%M} by linktool from its bench log."


def _summary(records: Sequence[Record]) -> Block:
    faults = faults_in(records)
    kinds = {record.command for record in records}
    rows = [
        (command, str(len(mine)), str(sum(failed(record) for record in mine)))
        for command in sorted(kinds)
        if (mine := [record for record in records if record.command == command])
    ]
    waiting = sum(fault.mended is None for fault in faults)
    left = f"{waiting} not yet mended" if waiting else "all mended" if faults else "none"
    rows.append(("faults found", str(len(faults)), left))
    return Table(("what", "how often", "not in order"), tuple(rows))


def _machine(name: str, machine: Machine | None, records: Sequence[Record]) -> list[Block]:
    ports = ", ".join(dict.fromkeys(record.port for record in records if record.port))
    blocks: list[Block] = [Heading(2, f"Machine {name}")]
    title = f"{machine.title}. " if machine else "Its profile is not known here. "
    blocks.append(Paragraph(f"{title}Ports: {ports or 'none'}."))
    faults = faults_in(records)
    if machine:
        known = known_memory(machine, records)
        drawn = of_ranges(f"Memory of {name}, as last known", known.ranges, Range(0, 0xFFFF), PAGE)
        blocks.append(_figure(drawn))
        blocks += [_figure(each) for each in _zoomed(known)]
        blocks += _plan(machine, faults)
    if faults:
        blocks += [Heading(3, "Faults found"), _faults_table(faults)]
    return blocks


def _figure(shown: Map) -> Figure:
    lines = tuple(str(line) for line in maps.text_lines(shown))
    return Figure(shown.title, maps.svg(shown), lines[1:], maps.legend_html(shown))


def _zoomed(known: Known) -> list[Map]:
    """Banks of 4 KiB in which bytes are known to be wrong."""
    wrong = {where.first & 0xF000 for where, state in known.ranges if state in ("differs", "unsteady")}
    banks = [Range(first, first | 0x0FFF) for first in sorted(wrong)[:ZOOMED]]
    return [of_ranges(f"{bank} in pieces of {FINE} bytes", known.ranges, bank, FINE) for bank in banks]


def _plan(machine: Machine, faults: Sequence[FoundFault]) -> list[Block]:
    suspects = board_plan.suspects_of([f.facts for f in faults if f.facts and f.mended is None])
    drawing = board_plan.svg(machine, suspects) if suspects else ""
    if not drawing:
        return []
    caption = "Chips on the board; those under suspicion are marked with !"
    return [Figure(caption, drawing, board_plan.text_lines(machine, suspects))]


def _faults_table(faults: Sequence[FoundFault]) -> Table:
    rows = []
    for fault in faults:
        what = fault_text(fault.facts) if fault.facts else f"bytes differ in {listed(fault.where[:8])}"
        when = f"{fault.first.at:%Y-%m-%d %H:%M}" + (f", {fault.times} times" if fault.times > 1 else "")
        mended = f"{fault.mended.at:%Y-%m-%d %H:%M}, by {fault.mended.command}" if fault.mended else "not yet"
        rows.append((when, what, mended))
    return Table(("found", "what", "mended"), tuple(rows))


def _days(records: Sequence[Record], several: bool) -> list[Block]:
    blocks: list[Block] = []
    for day, mine in groupby(records, key=lambda record: record.at.date()):
        held = list(mine)
        blocks.append(Heading(2, f"{day:%Y-%m-%d}"))
        blocks.append(Paragraph(f"{count(len(held), 'entry', 'entries')}.", quiet=True))
        for record in held:
            place = f" on {record.machine}" if several and record.machine else ""
            kind = record.command + place
            at, line = f"{record.at:%H:%M}", headline(record)
            blocks.append(Entry(at, kind, line, tuple(details(record, LISTED)), failed(record)))
    return blocks
