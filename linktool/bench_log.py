"""The bench log: what was done, when, to which machine, with what proof. One JSON line a job.

    {"at": "2026-11-25T19:42:10+01:00", "command": "enter", "machine": "heron", "port": "board:", "ok": true}

Rules: lines are only ever appended, each in one write that is then forced to the disk. A line torn by a crash
is left as it is; the next one begins on a line of its own. Reading skips what it cannot understand and counts
it, and of a file that is too large reads the newest part. Nothing here knows of reports; see log_facts.py.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from linktool.errors import LinktoolError

FILE = "bench-log.jsonl"
LARGEST_FILE = 64 << 20
LONGEST_LINE = 1 << 20
_HEAD = ("at", "command", "machine", "port")


class LogError(LinktoolError):
    """The bench log cannot be written or read."""


@dataclass(frozen=True)
class Record:
    """One entry: when (with its time zone), which command, and what came of it as plain JSON values."""

    at: datetime
    command: str
    machine: str = ""
    port: str = ""
    facts: dict[str, Any] = field(default_factory=dict)

    def get(self, name: str, kind: type | tuple[type, ...], default: Any) -> Any:
        """The fact `name` if it is of that kind, else `default`: the file may have been edited."""
        value = self.facts.get(name)
        return value if isinstance(value, kind) else default


@dataclass(frozen=True)
class Contents:
    """What a log holds, oldest first. skipped: lines that are no records. left_out: bytes of an older part
    of the file that was too large to read."""

    records: tuple[Record, ...] = ()
    skipped: int = 0
    left_out: int = 0


def as_line(record: Record) -> bytes:
    """The record as one line, with its end."""
    line: dict[str, Any] = {
        "at": record.at.isoformat(timespec="seconds"),
        "command": record.command,
        "machine": record.machine,
        "port": record.port,
    }
    line.update((name, value) for name, value in record.facts.items() if name not in _HEAD)
    return json.dumps(line).encode("ascii") + b"\n"


def parse_line(line: bytes) -> Record | None:
    """The record on a line, or None."""
    if len(line) > LONGEST_LINE:
        return None
    try:
        data = json.loads(line)
        at = datetime.fromisoformat(data.pop("at"))
        head = [data.pop(name) for name in _HEAD[1:]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError):
        return None
    if at.tzinfo is None or not head[0] or not all(isinstance(text, str) for text in head):
        return None
    return Record(at, head[0], head[1], head[2], data)


def parse(data: bytes) -> Contents:
    """The records in a log's bytes."""
    found: list[Record] = []
    skipped = 0
    for line in data.split(b"\n"):
        if not line.strip():
            continue
        record = parse_line(line)
        if record is None:
            skipped += 1
        else:
            found.append(record)
    return Contents(tuple(found), skipped)


class BenchLog:
    """The log in one file; the folder is made when the first line is written."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def kept_in(cls, folder: Path) -> BenchLog:
        """The log in the user's state folder."""
        return cls(folder / FILE)

    def append(self, record: Record) -> None:
        """Write one record and force it to the disk. LogError when that fails."""
        line = as_line(record)
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
            descriptor = os.open(self.path, flags, 0o600)
            try:
                if not _ends_whole(descriptor):
                    line = b"\n" + line
                written = os.write(descriptor, line)
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
        except OSError as error:
            raise self._failed("written", error.strerror or str(error)) from error
        if written < len(line):
            raise self._failed(
                "written", f"only {written} of {len(line)} bytes were taken; the disk may be full"
            )

    def read(self, largest: int = LARGEST_FILE) -> Contents:
        """The records, of a larger file those in its last `largest` bytes. A file that is not there holds
        none. LogError when it cannot be read."""
        try:
            with self.path.open("rb") as file:
                size = file.seek(0, os.SEEK_END)
                left_out = max(0, size - largest)
                file.seek(left_out)
                data = file.read(largest)
        except FileNotFoundError:
            return Contents()
        except OSError as error:
            raise self._failed("read", error.strerror or str(error)) from error
        if left_out:
            torn = data.find(b"\n") + 1
            left_out += torn
            data = data[torn:]
        contents = parse(data)
        return Contents(contents.records, contents.skipped, left_out)

    def _failed(self, what: str, why: str) -> LogError:
        return LogError(
            f"the bench log {self.path} cannot be {what}: {why}", "Set LINKTOOL_FOLDER to another folder"
        )


def _ends_whole(descriptor: int) -> bool:
    with contextlib.suppress(OSError):
        if os.lseek(descriptor, 0, os.SEEK_END) > 0:
            os.lseek(descriptor, -1, os.SEEK_END)
            return os.read(descriptor, 1) == b"\n"
    return True


def _readable(record: Record) -> str:
    """What a person could look for in a record: all but the packed memory."""
    facts = {name: value for name, value in record.facts.items() if name != "memory"}
    return json.dumps([record.command, record.machine, record.port, facts], ensure_ascii=False)


@dataclass(frozen=True)
class Wanted:
    """Which records are asked for; None or "" asks for all. text: stands somewhere in the record."""

    machine: str = ""
    port: str = ""
    command: str = ""
    since: datetime | None = None
    until: datetime | None = None
    text: str = ""

    def picks(self, record: Record) -> bool:
        return (
            self.machine in ("", record.machine)
            and self.port in ("", record.port)
            and self.command in ("", record.command)
            and (self.since is None or record.at >= self.since)
            and (self.until is None or record.at < self.until)
            and (not self.text or self.text.lower() in _readable(record).lower())
        )


def select(records: Iterable[Record], wanted: Wanted) -> Iterator[Record]:
    """The records asked for, in their order."""
    return (record for record in records if wanted.picks(record))
