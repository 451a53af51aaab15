"""talk, type, screen: speaking to the machine in plain text, and what its screen shows."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TextIO

from formats import files
from formats.errors import FormatError
from linktool.bench import Bench
from linktool.commands import Values
from linktool.dialect import key_bytes
from linktool.errors import UsageError
from linktool.jobs.screen import ScreenReport
from linktool.jobs.screen import listen as listen_job
from linktool.jobs.talk import TalkReport
from linktool.jobs.talk import talk as talk_job
from linktool.jobs.type_text import Text, TypeReport
from linktool.jobs.type_text import type_text as type_job
from linktool.key_names import key_named
from linktool.keyboard import Keyboard, keyboard
from linktool.machine import Machine
from linktool.render.talking import Display
from linktool.render.text import count
from linktool.screen import framed
from linktool.talk_keys import guide

LISTEN_S = 2.0
LARGEST = 1 << 20
TAB = 8


def talk(bench: Bench, values: Values) -> TalkReport:
    """Speak to the machine directly. What comes goes to the terminal, to the model of its screen, and to a
    file where that is asked for."""
    output = values["output"]
    if output:
        files.refuse_existing(output, values["overwrite"], "--overwrite")
    with keyboard(sys.stdin) as keys:
        return talk_with(bench, keys, sys.stdout, output)


def talk_with(bench: Bench, keys: Keyboard, out: TextIO, output: str | None = None) -> TalkReport:
    """The same with a keyboard and a place to show what comes."""
    machine = bench.machine
    if keys.live and not bench.quiet:
        told = [f"Talking to {machine.name} on {bench.port_name}.", guide(machine)]
        if not machine.link.echo:
            told.append("The link is one-way: nothing comes back here; watch the machine's own screen.")
        columns = shutil.get_terminal_size().columns
        out.write("".join(textwrap.fill(line, columns) + "\n" for line in told))
        out.flush()
    with Display(out, output, not bench.quiet) as display, _watched(bench, display):
        report = bench.hold(
            lambda speech, port: talk_job(
                speech,
                keys,
                port,
                real_time=bool(getattr(bench.port, "real_time", False)),
            )
        )
    if display.failure:
        raise UsageError(display.failure)
    return replace(report, saved=output or "")


@contextmanager
def _watched(bench: Bench, display: Display) -> Iterator[None]:
    """Notes go to the display for as long as this lasts, also where nothing else is to be shown."""
    before = bench.watch, bench.quiet
    bench.watch, bench.quiet = display.watch, False
    try:
        yield
    finally:
        bench.watch, bench.quiet = before


def type_text(bench: Bench, values: Values) -> TypeReport:
    """Type a text file line by line. What cannot be typed is refused before the port is opened."""
    name, machine = values["file"], bench.machine
    lines, remarks = text_lines(files.read_bytes(name), name, machine, values["until"] or "")
    first = int(values["from"])
    lines = [(number, line) for number, line in lines if number >= first]
    if not lines:
        raise UsageError(f"{name}: no line to type" + (f" from line {first} on" if first > 1 else ""))
    cancel = key_named(values["cancel"], machine) if values["cancel"] else ""
    until, stop_on = (_folded(values[key] or "", machine) for key in ("until", "stop_on"))
    text = Text(lines, until, stop_on, cancel, values["wait"])
    report = bench.hold(lambda speech, port: type_job(speech, text, name, port))
    return replace(report, remarks=remarks)


def _folded(text: str, machine: Machine) -> str:
    return key_bytes(text, machine.keys.fold, False).decode("ascii")


def text_lines(
    data: bytes, source: str, machine: Machine, until: str = ""
) -> tuple[list[tuple[int, str]], tuple[str, ...]]:
    """(number from 1, text as the keys will be) of every line, and remarks. FormatError with line and
    column for a character no key sends, and at the monitor for a line longer than it takes."""
    dialect = machine.dialect
    found: list[tuple[int, str]] = []
    left_out = 0
    if len(data) > LARGEST:
        raise FormatError(source, "", f"the file has {len(data)} bytes", f"at most {LARGEST}")
    if not data:
        raise FormatError(source, "", "the file is empty", "lines of text")
    plain = data.rstrip(b"\x1a").replace(b"\r\n", b"\n").replace(b"\r", b"\n").rstrip(b"\n")
    for number, raw in enumerate(plain.decode("utf-8", "replace").split("\n"), 1):
        line = raw.expandtabs(TAB).rstrip()
        odd = next((at for at, character in enumerate(line) if not " " <= character < "\x7f"), None)
        if odd is not None:
            place = f"line {number}, column {odd + 1}"
            raise FormatError(source, place, f"{line[odd]!r}, which no key sends", "plain ASCII text")
        if not line and not dialect.empty_line_harmless:
            left_out += 1
            continue
        if not until and len(line) > dialect.line_limit:
            has = f"the line has {len(line)} characters"
            raise FormatError(
                source, f"line {number}", has, f"at most {dialect.line_limit} on {machine.name}"
            )
        found.append((number, _folded(line, machine)))
    return found, (f"{count(left_out, 'empty line')} left out",) if left_out else ()


def screen(bench: Bench, values: Values) -> ScreenReport:
    """What the machine's screen shows, as far as it came over the port; listens first where asked, or
    where the port was not open yet."""
    output = values["output"]
    if output:
        files.refuse_existing(output, values["overwrite"], "--overwrite")
    listen_s = values["listen"]
    if listen_s is None:
        listen_s = 0.0 if bench.port else LISTEN_S
    stopped, lost = False, ""
    if listen_s:
        stopped, lost = bench.hold(lambda speech, port: listen_job(speech, listen_s))
    shown = bench.screen
    report = ScreenReport(
        bench.machine.name, bench.port_name, shown.lines(), shown.columns, shown.received, stopped, lost
    )
    if output:
        files.save(
            output, "\n".join(framed(report.rows, report.columns)) + "\n", values["overwrite"], "--overwrite"
        )
        report = replace(report, saved=output)
    return report
