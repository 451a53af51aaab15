"""Reports as lines of text for a person. Colour is never the only sign, and is put on elsewhere."""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch

from formats.image import Image, Range, hex4
from linktool.dialect import printable
from linktool.exchange import STOPPED_AT_ONCE
from linktool.jobs.listing import ConvertReport, FaultsReport, MachinesReport, PlanReport, PortsReport, Told
from linktool.jobs.report import Effort, Finding, Report, RunReport
from linktool.machine import Machine, characters_per_second
from linktool.resident.forecast import Forecast
from linktool.screen import framed

LISTED = 24
"""Differences listed one by one; beyond that they are counted."""


def listed(ranges: Iterable[Range], none: str = "nothing") -> str:
    return ", ".join(str(where) for where in ranges) or none


def count(number: int, one: str, many: str = "") -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def duration(seconds: float) -> str:
    """Seconds as a person says them: "8.4 s", "3 min 25 s"."""
    if seconds < 60:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    return f"{whole // 60} min {whole % 60:02d} s"


def hex_rows(image: Image, width: int = 8) -> list[str]:
    """Memory as rows that a monitor would take: address, colon, bytes."""
    rows = []
    for segment in image.segments:
        at = segment.first
        while at <= segment.last:
            last = min(at - at % width + width - 1, segment.last)
            cells = segment.data[at - segment.first : last - segment.first + 1]
            rows.append(f"{hex4(at)}: {cells.hex(' ').upper()}")
            at = last + 1
    return rows


def how_lost(reason: str, within: bool = False) -> str:
    """Why a job could not go on: the link or the machine, or a user who did not wait. A sentence's beginning,
    or with `within` the rest of one."""
    if reason == STOPPED_AT_ONCE:
        said = "Stopped at once, at the second Ctrl-C; the line in hand was not cancelled"
    else:
        said = f"The link failed: {reason}"
    return said[0].lower() + said[1:] if within else said


def effort_lines(effort: Effort) -> list[str]:
    line = f"{count(effort.keystrokes, 'key')} in {count(effort.lines, 'line')}, {duration(effort.seconds)}"
    extra = []
    if effort.lines_repaired:
        extra.append(f"{effort.lines_repaired} mended")
    if effort.lines_retyped:
        extra.append(f"{effort.lines_retyped} typed again")
    if effort.wrong:
        extra.append(f"{count(effort.wrong, 'wrong echo or answer', 'wrong echoes or answers')}")
    return [line + (": " + ", ".join(extra) if extra else "")]


_KINDS = {
    "memory": "memory",
    "unsteady": "unsteady: it reads differently each time",
    "unread": "could not be read",
}


def finding_lines(findings: tuple[Finding, ...]) -> list[str]:
    lines = []
    for finding in findings[:LISTED]:
        found = "--" if finding.found is None else f"{finding.found:02X}"
        values = f"expected {finding.expected:02X}  found {found}"
        lines.append(f"! {hex4(finding.address)}  {values}  {_KINDS[finding.kind]}")
    if len(findings) > LISTED:
        lines.append(f"! and {len(findings) - LISTED} more")
    return lines


@singledispatch
def lines(report: object) -> list[str]:
    """The report as lines. TypeError for a report nobody has taught this module."""
    raise TypeError(f"no text for {type(report).__name__}")


@lines.register
def _(report: Report) -> list[str]:
    result = [f"note: {remark}" for remark in report.remarks]
    if report.command == "read":
        return result + _read_lines(report)
    size = count(len(report.image), "byte")
    where = listed(segment.range for segment in report.image.segments)
    result += finding_lines(report.differences)
    result.append(_headline(report, size, where))
    if report.noise:
        once = count(report.noise, "byte")
        result.append(f"{once} read wrong once and right thereafter: the link, not memory.")
    result += effort_lines(report.effort)
    result += _how_to_go_on(report)
    if report.screen:
        result += ["The end of the machine's screen should read, x for any digit:", *_in_frame(report.screen)]
        result.append("Compare it; `linktool sheet` gives a listing of all that was sent.")
    if report.ran:
        result += lines(report.ran)
    return result


def _headline(report: Report, size: str, where: str) -> str:
    proven = sum(len(part) for part in report.proven)
    if report.lost or report.stopped:
        how = how_lost(report.lost) if report.lost else "Stopped"
        typed = sum(len(part) for part in report.typed)
        if report.one_way:
            return f"{how}. Of {size} at {where}, sent, not verified: {typed}."
        seen = "typed with the echo seen but not read back"
        if report.via == "receiver":
            seen = "taken by the receiver but not proven"
        return (
            f"{how}. Of {size} at {where}, proven: {proven:,} ({listed(report.proven)}); "
            f"{seen}: {max(0, typed - proven):,}."
        )
    if report.differences:
        wrong = len(report.differences)
        differ = f"at {where} {'differs' if wrong == 1 else 'differ'}"
        if wrong == len(report.image):
            return f"NOT proven: {'all ' if wrong > 1 else ''}{size} {differ}."
        return f"NOT proven: {count(wrong, 'byte')} of {size} {differ}; proven: {proven:,}."
    if report.proof == "none":
        return f"Sent, not verified: {size} at {where}."
    return f"Proven: {size} at {where} ({_PROOFS[report.proof]})."


def _in_frame(rows: tuple[str, ...]) -> tuple[str, ...]:
    return framed(rows, max(40, *(len(row) for row in rows)))


_PROOFS = {"read back": "every byte read back", "checksum": "the machine's own checksum agrees", "none": ""}


def _how_to_go_on(report: Report) -> list[str]:
    resumable = report.command == "enter" and not report.one_way
    again = "`linktool resume` goes on" if resumable else "give the command again"
    if report.one_way and report.stopped and not report.lost:
        return [f"The cancel key was struck: the machine's own screen shows if it came; {again}."]
    if report.stopped and not report.lost:
        return [f"The line was cancelled, the monitor is at its prompt; {again}."]
    if report.lost == STOPPED_AT_ONCE:
        return [f"Press the machine's reset key if it is stuck; then {again}."]
    if report.lost:
        return [f"Put the link right, press the machine's reset key if it is stuck; then {again}."]
    return []


def _read_lines(report: Report) -> list[str]:
    result = hex_rows(report.image)
    so_far = listed(segment.range for segment in report.image.segments)
    if report.lost:
        result.append(f"! {how_lost(report.lost)}. Read so far: {so_far}.")
    elif report.stopped:
        result.append(f"! Stopped. Read so far: {so_far}.")
    if report.saved:
        result.append(f"Saved {count(len(report.image), 'byte')} to {report.saved}.")
        if report.proof == "none":
            result.append("Each byte was read once; `linktool check` with that file reads them again.")
    return result


def _still_running(port: str) -> str:
    if port.startswith("board:"):
        return "It may still be running; in the shell `talk` speaks to it, and `port board:` ends it."
    return "It may still be running: `linktool talk` speaks to it, the machine's reset key ends it."


@lines.register
def _(report: RunReport) -> list[str]:
    if report.lost:
        return [f"! {how_lost(report.lost)}"]
    if report.stopped and report.one_way:
        return [f"Stopped: {hex4(report.address)} may have been started. Watch the machine's own screen."]
    if report.stopped:
        return ["Stopped watching; the program may still run. The reset key ends it."]
    if report.one_way:
        sent = f"Sent, not verified: the line that starts {hex4(report.address)}."
        return [f"{sent} Watch the machine's own screen."]
    end = "The monitor is back at its prompt." if report.back_at_prompt else _still_running(report.port)
    return [f"Started at {hex4(report.address)}; printed {count(len(report.output), 'character')}. {end}"]


def screen_lines(text: str) -> list[str]:
    """What a program printed, safe to show."""
    return printable(text).strip("\n").split("\n") if text.strip() else []


@lines.register
def _(report: PortsReport) -> list[str]:
    result = [f"{port.name:<24} {port.description}  {port.ids}".rstrip() for port in report.ports]
    if not result:
        result = ["No serial port was found."]
    return [*result, f"{'board:':<24} the simulated board, always there"]


@lines.register
def _(report: MachinesReport) -> list[str]:
    if report.shown:
        return machine_lines(report.shown)
    return [f"{name:<12} {title}" for name, title, _ in report.machines] + [
        "`linktool machines NAME` shows one; its file is a good start for your own.",
        f"Your own are NAME.toml in {report.folder}",
    ]


def machine_lines(machine: Machine) -> list[str]:
    """A profile as a person reads it."""
    link = machine.link
    rows = [
        f"{machine.name}: {machine.title}",
        f"file       {machine.source}",
        f"processor  {machine.processor} at {machine.clock_hz / 1e6:g} MHz",
        f"display    {machine.screen.columns} x {machine.screen.rows}, "
        f"{machine.screen.rate_cps:g} characters/s",
        f"link       {link.rate} baud {link.frame}, {characters_per_second(link):g} characters/s, "
        f"flow {link.flow}, pacing {link.pacing}",
        "memory",
    ]
    rows += [f"  {area.range!s:<10} {area.kind:<5} {area.label}" for area in machine.map()]
    rows.append("reserved")
    rows += [f"  {area.range!s:<10} {area.name}: {area.reason}" for area in machine.reserved]
    rows.append("symbols")
    rows += [f"  {hex4(value)}       {name}" for name, value in sorted(machine.symbols.items())]
    if machine.note:
        rows.append(machine.note)
    return rows


@lines.register
def _(report: PlanReport) -> list[str]:
    cost, reading = report.plan.cost, report.reading
    result = [f"note: {remark}" for remark in report.remarks]
    result += [line.text for line in report.plan.lines]
    result.append(
        f"{count(len(report.image), 'byte')} at {listed(s.range for s in report.image.segments)} on machine "
        f"{report.machine.name}: {count(len(report.plan.lines), 'line')}, {count(cost.keystrokes, 'key')}, "
        f"{cost.printed:,} characters shown."
    )
    result.append(f"At best {duration(cost.seconds)} to type, {duration(reading.seconds)} to read back.")
    if report.forecast:
        result += forecast_lines(report.forecast)
    return result


def forecast_lines(forecast: Forecast) -> list[str]:
    """What the receiver would take instead of typing, and which of the two --via auto chooses."""
    if forecast.with_routines_s is None or forecast.routines is None:
        return [f"Through the receiver: not possible, because {forecast.reason}."]
    places = " and ".join(str(each) for each in forecast.routines.overwritten(True))
    chosen = "the receiver" if forecast.faster else "typing"
    whole, setup = duration(forecast.with_routines_s), duration(forecast.setup_s)
    return [
        f"Through the receiver: {whole} in all, {setup} of it to put the routines at {places}. "
        f"`--via auto` chooses {chosen}."
    ]


@lines.register
def _(report: ConvertReport) -> list[str]:
    start = "" if report.start is None else f", start {hex4(report.start)}"
    return [
        *(f"note: {remark}" for remark in report.remarks),
        f"{report.source} ({report.source_format}) -> {report.target} ({report.target_format}): "
        f"{count(report.bytes, 'byte')} at {listed(report.segments)}{start}.",
    ]


@lines.register
def _(report: Told) -> list[str]:
    return []


@lines.register
def _(report: FaultsReport) -> list[str]:
    return [
        "Faults (--fault, may be given again):",
        *_described(report.faults),
        "Settings (--option, or in a port's name after board:):",
        *_described(report.options),
    ]


def _described(rows: Iterable[tuple[str, str]]) -> list[str]:
    """A form and its text in two columns; a long form gets a line of its own."""
    shown = []
    for form, text in rows:
        if len(form) > 34:
            shown.append(f"  {form}")
            form = ""
        shown.append(f"  {form:<34}  {text}")
    return shown
