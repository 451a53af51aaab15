"""What is said to the machine and what it says: live on the terminal, in a file, and as reports.

Text from the wire is reduced to the machine's own character set before it is written anywhere. A flood is
cut on a terminal, which would be busy with it for long; the file and the model of the screen have it all.
"""

from __future__ import annotations

from typing import TextIO

from linktool.actions import Note
from linktool.dialect import printable
from linktool.errors import UsageError
from linktool.jobs.screen import ScreenReport
from linktool.jobs.talk import TalkReport
from linktool.jobs.type_text import TypeReport
from linktool.render.data import Data, data, effort_data
from linktool.render.terminal import safe
from linktool.render.text import count, effort_lines, how_lost, lines, screen_lines
from linktool.screen import framed

FLOOD = 8192
"""Characters at once, of which a terminal is shown the last SHOWN."""

SHOWN = 1000


class Display:
    """Shows the notes of a talk. path: a file for all that comes, "" or None for none. `failure` says why
    that file ends early."""

    def __init__(self, out: TextIO, path: str | None, show: bool) -> None:
        self.failure = ""
        self._out, self._path, self._show = out, path, show
        self._file: TextIO | None = None
        self._at_start = True

    def __enter__(self) -> Display:
        if self._path:
            try:
                self._file = open(self._path, "w", encoding="ascii", newline="\n")
            except OSError as error:
                raise UsageError(f"{self._path} cannot be written: {error.strerror or error}") from error
        return self

    def __exit__(self, *_: object) -> None:
        if self._show and not self._at_start:
            self._write("\n")
        if self._file:
            try:
                self._file.close()
            except OSError as error:
                self._fail(error)

    def watch(self, note: Note, at: float) -> None:
        """A note of the conversation."""
        if note.topic == "output":
            self._came(str(note.facts["text"]))
        elif note.topic == "said" and self._show:
            self._write(str(note.facts["text"]))

    def _came(self, text: str) -> None:
        shown = safe(printable(text))
        if self._file and not self.failure:
            try:
                self._file.write(shown)
                self._file.flush()
            except OSError as error:
                self._fail(error)
        if not self._show:
            return
        if len(shown) > FLOOD and self._out.isatty():
            shown = f"\n[{len(shown) - SHOWN:,} characters not shown]\n{shown[-SHOWN:]}"
        self._write(shown)

    def _write(self, text: str) -> None:
        if text:
            self._out.write(text)
            self._out.flush()
            self._at_start = text.endswith("\n")

    def _fail(self, error: OSError) -> None:
        self.failure = f"{self._path} ends early: {error.strerror or error}"


@lines.register
def _(report: TalkReport) -> list[str]:
    result = [f"! {how_lost(report.lost)}"] if report.lost else []
    keys = count(report.effort.keystrokes, "key")
    result.append(f"Left the talk: {keys} struck, {count(report.received, 'character')} came.")
    if report.saved:
        result.append(f"Saved what came to {report.saved}.")
    return result


@data.register
def _(report: TalkReport) -> Data:
    return {
        "command": "talk",
        "ok": report.ok,
        "machine": report.machine,
        "port": report.port,
        "output": printable(report.output),
        "received": report.received,
        "stopped": report.stopped,
        "lost": report.lost,
        "saved": report.saved,
        **effort_data(report.effort),
    }


@lines.register
def _(report: TypeReport) -> list[str]:
    result = [f"note: {remark}" for remark in report.remarks]
    all_of = f"{report.typed} of {count(report.lines, 'line')} of {report.source}"
    if report.ok:
        typed = f"{count(report.lines, 'line')} of {report.source}"
        end = "Sent, not verified" if report.one_way else "Typed, every echo right"
        return [
            *result,
            f"{end}: {typed}. What the machine made of it was not read back.",
            *effort_lines(report.effort),
        ]
    if report.lost:
        result.append(f"! {how_lost(report.lost)}")
    elif report.fault:
        result.append(f"! Line {report.at}: {report.fault}.")
    if report.answer.strip():
        result += ["! The machine answered:", *(f"!   {line}" for line in screen_lines(report.answer)[-6:])]
    if not report.at:
        result.append(f"No line was begun: {all_of} went in. When that is put right, give the command again.")
        return result
    result.append(f"Stopped at line {report.at}: {all_of} went in.")
    name = f'"{report.source}"' if " " in report.source else report.source
    result.append(
        f"`linktool type {name} --from {report.at}`, with the options of before, goes on from there."
    )
    return result


@data.register
def _(report: TypeReport) -> Data:
    return {
        "command": "type",
        "ok": report.ok,
        "machine": report.machine,
        "port": report.port,
        "source": report.source,
        "text_lines": report.lines,
        "typed_lines": report.typed,
        "at_line": report.at or None,
        "fault": report.fault,
        "answer": printable(report.answer),
        "stopped": report.stopped,
        "lost": report.lost,
        "one_way": report.one_way,
        "warnings": list(report.remarks),
        **effort_data(report.effort),
    }


@lines.register
def _(report: ScreenReport) -> list[str]:
    if report.lost:
        return [f"! {how_lost(report.lost)}"]
    result = list(framed(report.rows, report.columns))
    if not report.received:
        result.append("Nothing has come from the machine since the port was opened.")
    if report.saved:
        result.append(f"Saved to {report.saved}.")
    return result


@data.register
def _(report: ScreenReport) -> Data:
    return {
        "command": "screen",
        "ok": report.ok,
        "machine": report.machine,
        "port": report.port,
        "columns": report.columns,
        "rows": list(report.rows),
        "received": report.received,
        "stopped": report.stopped,
        "lost": report.lost,
        "saved": report.saved,
    }
