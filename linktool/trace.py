"""What passed over a port, one JSON line an event: written with --trace, read back to be replayed.

    {"at": 0.0, "event": "open", "port": "board:"}
    {"at": 0.016667, "event": "out", "text": "0280"}
    {"at": 0.05, "event": "in", "hex": "8D0A"}
    {"at": 0.05, "event": "note", "topic": "line", "facts": {"number": 3}}

`at` is in seconds since "open". Bytes stand as `text` (one character a byte) or as `hex`. Other events:
"stop" (asked: how often), "lost" (reason). Every line is flushed. A file may hold several recordings, each
begun by "open". A last line that was torn off is left out; any other fault is an error with its line.
"""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from linktool.errors import UsageError

EVENTS = ("open", "out", "in", "note", "stop", "lost")
WITH_BYTES = ("out", "in")
LARGEST_FILE = 64 << 20
_READABLE = frozenset(range(0x20, 0x7F)) | {0x0D, 0x0A, 0x1B, 0x08}


@dataclass(frozen=True)
class Entry:
    """One event at a port. `at` is in seconds on the port's clock; `data` is for "out" and "in";
    `facts` are the other keys of the line."""

    at: float
    event: str
    data: bytes = b""
    facts: dict[str, Any] = field(default_factory=dict)


def as_line(entry: Entry) -> str:
    """The entry as one line of JSON, without its end."""
    line: dict[str, Any] = {"at": round(entry.at, 9), "event": entry.event}
    if entry.event in WITH_BYTES:
        if _READABLE.issuperset(entry.data):
            line["text"] = entry.data.decode("ascii")
        else:
            line["hex"] = entry.data.hex().upper()
    line.update(
        (key, value) for key, value in entry.facts.items() if key not in ("at", "event", "text", "hex")
    )
    return json.dumps(line, default=str)


class TraceFile:
    """Appends one recording to a file; call it with each Entry, whose times become seconds since `opened_at`.

    UsageError when the file cannot be opened. A disk that fills up later must not end the work with the
    machine: writing stops, and `failure` says why.
    """

    def __init__(self, path: Path, port: str, opened_at: float) -> None:
        self.failure = ""
        self._path = path
        self._opened_at = opened_at
        try:
            self._file = path.open("ab")
            torn = path.stat().st_size > 0 and not _ends_whole(path)
        except OSError as error:
            raise UsageError(f"the trace {path} cannot be written: {error.strerror or error}") from error
        if torn:
            self._write(b"\n")
        written = datetime.now().astimezone().isoformat(timespec="seconds")
        self._line(Entry(0.0, "open", facts={"port": port, "written": written}))

    def __call__(self, entry: Entry) -> None:
        self._line(Entry(entry.at - self._opened_at, entry.event, entry.data, entry.facts))

    def close(self) -> None:
        """Safe to call twice; never raises."""
        try:
            self._file.close()
        except OSError as error:
            self.failure = self.failure or str(error)

    def __enter__(self) -> TraceFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _line(self, entry: Entry) -> None:
        self._write(as_line(entry).encode("ascii") + b"\n")

    def _write(self, data: bytes) -> None:
        if self.failure or self._file.closed:
            return
        try:
            self._file.write(data)
            self._file.flush()
        except OSError as error:
            self.failure = f"the trace {self._path} ends early: {error.strerror or error}"


def _ends_whole(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


# ---- reading ---------------------------------------------------------------------------------------


def read_trace(path: Path, *, largest: int = LARGEST_FILE) -> tuple[tuple[Entry, ...], ...]:
    """The recordings in the file, in order, each a tuple of entries without its "open".

    UsageError, with the line, for a file that cannot be read, is larger than `largest` bytes or is no trace.
    """
    try:
        with path.open("rb") as file:
            data = file.read(largest + 1)
    except OSError as error:
        raise UsageError(f"the trace {path} cannot be read: {error.strerror or error}") from error
    if len(data) > largest:
        raise UsageError(f"the trace {path} is larger than {largest} bytes", "Give the part that is needed")
    return parse_trace(data, str(path))


def parse_trace(data: bytes, source: str) -> tuple[tuple[Entry, ...], ...]:
    """The recordings in `data`; the text before the first "open" counts as one too. UsageError as above."""
    recordings: list[list[Entry]] = []
    lines = data.split(b"\n")
    torn: UsageError | None = None
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            entry = _entry(line, f"{source}, line {number}")
        except UsageError as error:
            if torn is not None:
                raise torn from None
            # The writer was stopped in the middle of this line. That is no fault if nothing follows it,
            # or if a new recording was appended behind it.
            torn = error
            if number == len(lines):
                break
            continue
        if torn is not None and entry.event != "open":
            raise torn
        torn = None
        if entry.event == "open" or not recordings:
            recordings.append([])
        if entry.event == "open":
            continue
        if recordings[-1] and entry.at < recordings[-1][-1].at:
            raise UsageError(
                f"{source}, line {number}: the time {entry.at} is before that of the line before it"
            )
        recordings[-1].append(entry)
    if torn is not None and data.endswith(b"\n"):
        raise torn
    return tuple(tuple(recording) for recording in recordings)


def _entry(line: bytes, place: str) -> Entry:
    def wrong(found: str, expected: str) -> UsageError:
        return UsageError(f"{place}: {found}; expected {expected}")

    def no_number(text: str) -> float:
        raise ValueError(f"{text} is no number")

    try:
        data = json.loads(line.decode("utf-8"), parse_constant=no_number)
    except (ValueError, RecursionError) as error:
        raise wrong(f"this is no JSON ({error})", "one event a line") from None
    if not isinstance(data, dict):
        raise wrong("this is no JSON object", 'as in {"at": 0.5, "event": "out", "text": "0280"}')
    at = data.pop("at", None)
    if isinstance(at, bool) or not isinstance(at, (int, float)) or not _finite(at) or at < 0:
        raise wrong(f'"at" is {_short(at)}', "seconds since the start, 0 or more")
    event = data.pop("event", None)
    if event not in EVENTS:
        raise wrong(f'"event" is {_short(event)}', " or ".join(EVENTS))
    if event not in WITH_BYTES:
        return Entry(float(at), event, facts=data)
    if ("text" in data) == ("hex" in data):
        raise wrong(f'"{event}" has both or none of "text" and "hex"', "one of them")
    key = "text" if "text" in data else "hex"
    value = data.pop(key)
    try:
        found = value.encode("latin-1") if key == "text" else bytes.fromhex(value)
    except (AttributeError, TypeError, ValueError):
        raise wrong(
            f'"{key}" is {_short(value)}', "characters 00 to FF" if key == "text" else "hex digits"
        ) from None
    if not found:
        raise wrong(f'"{event}" has no bytes', "at least one")
    return Entry(float(at), event, found, data)


def _finite(number: float) -> bool:
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


def _short(value: object) -> str:
    text = "missing" if value is None else json.dumps(value)
    return text if len(text) <= 40 else text[:40] + "…"
