"""log, note, report."""

from __future__ import annotations

import os

from formats import files
from linktool.bench import Bench
from linktool.bench_log import BenchLog, Contents, Record, Wanted, select
from linktool.bookkeeping import LogReport, NoteReport, PageReport
from linktool.commands import COMMANDS, Values
from linktool.errors import UsageError
from linktool.machine import Machine, available, load
from linktool.render.page import Page

LONGEST_NOTE = 4000


def note(bench: Bench, values: Values) -> NoteReport:
    """The words, as one line; the bench log takes them from the report."""
    text = " ".join(" ".join(values["text"]).split())
    if not text:
        raise UsageError("the note is empty")
    if len(text) > LONGEST_NOTE:
        raise UsageError(f"the note has {len(text)} characters; allowed: {LONGEST_NOTE}")
    return NoteReport(bench.now(), text)


def _wanted(bench: Bench, values: Values) -> Wanted:
    return Wanted(
        machine=bench.asked_machine or "",
        port=bench.asked_port or "",
        command=_command(values.get("only") or ""),
        since=values["since"],
        until=values["until"],
        text=values.get("find") or "",
    )


def _command(name: str) -> str:
    known = [command.name for command in COMMANDS]
    if name and name not in known:
        raise UsageError(f"no command is called {name!r}", f"Commands: {', '.join(known)}")
    return name


def log(bench: Bench, values: Values) -> LogReport:
    """The entries asked for, newest last; or one of them whole."""
    book = BenchLog.kept_in(bench.folders.state)
    contents = book.read()
    numbered = list(enumerate(contents.records, 1))
    number = values["number"]
    if number is not None:
        if number > len(numbered):
            held = f"It holds {len(numbered)}" if numbered else "It is empty"
            raise UsageError(f"the bench log has no entry {number}", held)
        chosen = [numbered[number - 1]]
    else:
        wanted = _wanted(bench, values)
        chosen = [entry for entry in numbered if wanted.picks(entry[1])][-values["last"] :]
    return LogReport(
        str(book.path),
        tuple(chosen),
        len(numbered),
        contents.skipped,
        contents.left_out,
        whole=number is not None,
    )


def report(bench: Bench, values: Values) -> PageReport:
    """One self-contained page of the entries asked for."""
    path = values["output"]
    if not path:
        raise UsageError("no file is named for the page", "Write `linktool report -o evening.html`")
    kind = os.path.splitext(path)[1].lower()
    if kind not in (".html", ".htm", ".md"):
        raise UsageError(f"{path}: a page is .html or .md, not {kind or 'a name without an ending'}")
    files.refuse_existing(path, values["overwrite"], "--overwrite")
    contents = BenchLog.kept_in(bench.folders.state).read()
    records = tuple(select(contents.records, _wanted(bench, values)))
    if not records:
        raise UsageError("the bench log has no such entries", _why_none(contents))
    page = Page(values["title"] or "Bench report", bench.now(), records, _machines(bench, records))
    text = page.markdown() if kind == ".md" else page.html()
    files.save(path, text.encode("utf-8"), force=values["overwrite"])
    return PageReport(path, "Markdown" if kind == ".md" else "HTML", len(records), contents.skipped)


def _why_none(contents: Contents) -> str:
    if not contents.records:
        return "It is empty: jobs at a machine, and notes, are written to it"
    return "`linktool log` lists them; --since, --until, --machine and --port choose"


def _machines(bench: Bench, records: tuple[Record, ...]) -> dict[str, Machine]:
    """The profiles of the machines in the entries, those that can still be found."""
    known = available(bench.folders.machines)
    names = {record.machine for record in records} & set(known)
    found = {}
    for name in sorted(names):
        try:
            found[name] = load(name, bench.folders.machines)
        except UsageError:
            continue
    return found
