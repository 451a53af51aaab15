"""The log, a note, a page, a trace, a map and dropped work, as text and as JSON."""

from __future__ import annotations

from formats.image import hex4
from linktool.bench_log import Record
from linktool.bookkeeping import (
    ForgottenReport,
    LogReport,
    MapReport,
    NoteReport,
    PageReport,
    TraceReport,
)
from linktool.maps import LOOKS
from linktool.render.data import Data, data
from linktool.render.entries import details, failed, headline
from linktool.render.maps import text_lines
from linktool.render.text import count, how_lost, lines
from linktool.trace import Entry

PAUSE_S = 1.0
"""A pause that ends a line of a trace."""
SHOWN = 60
"""Characters of a key or answer that are shown of one event of a trace."""


@lines.register
def _(report: LogReport) -> list[str]:
    result = []
    for number, record in report.entries:
        result.append(_line(number, record))
        if report.whole:
            for name, text in details(record):
                first, *rest = text.split("\n")
                result.append(f"      {name:<12} {first}")
                result += [f"      {'':<12} {line}" for line in rest]
    if not report.entries:
        result.append("The bench log has no such entries." if report.total else "The bench log is empty.")
    if report.skipped:
        result.append(f"note: {count(report.skipped, 'line')} of {report.path} could not be understood")
    if report.left_out:
        result.append(
            f"note: {report.path} is very large; its oldest {report.left_out:,} bytes were left out"
        )
    return result


def _line(number: int, record: Record) -> str:
    mark = "! " if failed(record) else "  "
    place = f"{record.machine or '-':<8}"
    return f"{mark}{number:>4}  {record.at:%Y-%m-%d %H:%M}  {place} {record.command:<8} {headline(record)}"


@data.register
def _(report: LogReport) -> Data:
    return {
        "command": "log",
        "ok": True,
        "file": report.path,
        "entries": [
            {
                "number": number,
                "at": record.at.isoformat(timespec="seconds"),
                "entry": record.command,
                "machine": record.machine,
                "port": record.port,
                **{
                    name: value
                    for name, value in record.facts.items()
                    if name not in ("memory", "rom_memory")
                },
            }
            for number, record in report.entries
        ],
        "total": report.total,
        "skipped": report.skipped,
    }


@lines.register
def _(report: NoteReport) -> list[str]:
    return [f"Noted at {report.at:%H:%M}."]


@data.register
def _(report: NoteReport) -> Data:
    return {"command": "note", "ok": True, "at": report.at.isoformat(timespec="seconds"), "text": report.text}


@lines.register
def _(report: PageReport) -> list[str]:
    entries = count(report.entries, "entry", "entries")
    result = [
        f"Wrote {report.path}: {report.format}, {entries} of the bench log. It needs nothing else to open."
    ]
    if report.skipped:
        result.append(f"note: {count(report.skipped, 'line')} of the log could not be understood")
    return result


@data.register
def _(report: PageReport) -> Data:
    return {
        "command": "report",
        "ok": True,
        "file": report.path,
        "format": report.format,
        "entries": report.entries,
        "skipped": report.skipped,
    }


@lines.register
def _(report: MapReport) -> list[str]:
    taken = "the profile alone: the bench log has nothing on this machine"
    if report.taken:
        earlier = len(report.taken) - 1
        more = f", and from {count(earlier, 'earlier entry', 'earlier entries')} of the bench log"
        taken = report.taken[-1] + (more if earlier else "")
    return [*text_lines(report.shown), f"From {taken}."]


@data.register
def _(report: MapReport) -> Data:
    rows = [
        {"first": hex4(row.first), "states": [LOOKS[state].word for state in row.states]}
        for row in report.shown.rows
    ]
    return {
        "command": "map",
        "ok": True,
        "machine": report.machine,
        "bytes_a_cell": report.shown.cell,
        "rows": rows,
        "from": list(report.taken),
    }


@lines.register
def _(report: ForgottenReport) -> list[str]:
    return [f"Forgotten: the {report.what} at {report.port}. Nothing was sent."]


@data.register
def _(report: ForgottenReport) -> Data:
    return {
        "command": "resume",
        "ok": True,
        "machine": report.machine,
        "port": report.port,
        "forgotten": report.what,
    }


# ---- traces ----


@lines.register
def _(report: TraceReport) -> list[str]:
    result = []
    for number, recording in enumerate(report.recordings, 1):
        ended = recording[-1].at if recording else 0.0
        events = count(len(recording), "event")
        result.append(f"Recording {number} of {len(report.recordings)}: {events} in {ended:.1f} s")
        result += [_event(entry) for entry in _gathered(recording)]
    return result or [f"{report.path} holds no recording."]


_SIGNS = {"out": ">", "in": "<", "note": "*", "stop": "!", "lost": "!"}


def _event(entry: Entry) -> str:
    if entry.event in ("out", "in"):
        shown = _escaped(entry.data)
    elif entry.event == "note":
        facts = entry.facts.get("facts")
        values = facts.items() if isinstance(facts, dict) else ()
        named = " ".join(f"{name}={_fact(value)[:SHOWN]}" for name, value in values)
        shown = f"{entry.facts.get('topic', '')} {named}".strip()
    elif entry.event == "stop":
        shown = "the user asked to stop"
    else:
        shown = how_lost(str(entry.facts.get("reason", "")), within=True)
    return f"{entry.at:>10.3f}  {_SIGNS.get(entry.event, '?')} {printable_line(shown)}"


def _fact(value: object) -> str:
    """A fact of a note; a figure to six places, which is more than any was measured to."""
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _gathered(recording: tuple[Entry, ...]) -> list[Entry]:
    """Keys and characters as lines: what went out and what came in each gathered by itself, though they come
    turn about, up to the end of a line, a pause, or something else that happened."""
    gathered: list[Entry] = []
    lanes: dict[str, tuple[Entry, float]] = {}

    def close(*events: str) -> None:
        for event in events:
            if event in lanes:
                gathered.append(lanes.pop(event)[0])

    for entry in recording:
        if entry.event not in ("out", "in"):
            close("out", "in")
            gathered.append(entry)
            continue
        held, last_at = lanes.get(entry.event, (None, 0.0))
        if held is not None and (entry.at - last_at > PAUSE_S or len(held.data) >= SHOWN):
            close(entry.event)
            held = None
        joined = Entry(held.at, held.event, held.data + entry.data) if held else entry
        lanes[entry.event] = (joined, entry.at)
        if joined.data.endswith((b"\r", b"\n", b"\x8d", b"\x1b")):
            close(entry.event)
    close("out", "in")
    return sorted(gathered, key=lambda entry: entry.at)


def _escaped(held: bytes) -> str:
    """Bytes as they would be typed: control codes and high ones escaped."""
    return held.decode("latin-1").encode("unicode_escape").decode("ascii")


def printable_line(text: str) -> str:
    """A line without control characters."""
    return "".join(c if c.isprintable() else "." for c in text)


@data.register
def _(report: TraceReport) -> Data:
    return {
        "command": "trace",
        "ok": True,
        "file": report.path,
        "recordings": [
            [
                {"at": entry.at, "event": entry.event}
                | ({"text": entry.data.decode("latin-1")} if entry.data else {})
                | dict(entry.facts)
                for entry in recording
            ]
            for recording in report.recordings
        ],
    }
