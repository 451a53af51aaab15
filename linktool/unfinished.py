"""Work that was begun on a machine and not ended, kept in a file so that `resume` can go on after any end.

One file a port and machine: what an `enter` was to put in and how far it was typed, or what a test has
written over and what was there before. Written whole or not at all (a new file, forced to the disk, takes
the old one's name), at most about once a second while typing goes on. A file that cannot be understood is an
error that says so. What it says is a claim: whoever goes on proves it first.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import takewhile
from pathlib import Path
from typing import Any

from formats.image import Image, Range
from linktool.errors import UsageError
from linktool.packed_image import pack, unpack

FOLDER = "unfinished"
LARGEST = 8 << 20
COMMANDS = ("enter", "survey", "diagnose")


@dataclass(frozen=True)
class Unfinished:
    """What is under way.

    command   "enter", "survey" or "diagnose"
    image     enter: what is to be put in. The tests: what was there before
    written   the tests: what they wrote over it, in each of their rounds
    typed     enter: bytes typed in, counted from the image's start; their echo was seen
    options   enter: what else was asked for, as plain values
    """

    command: str
    machine: str
    port: str
    began: datetime
    image: Image
    written: tuple[Image, ...] = ()
    typed: int = 0
    options: dict[str, Any] = field(default_factory=dict)

    @property
    def claimed(self) -> Image:
        """The part of the image that is said to be typed."""
        cells = list(self.image.cells())[: self.typed]
        return Image.from_cells(cells)


def file_of(folder: Path, machine: str, port: str, entry: bool) -> Path:
    """Where an entry, or else a test, on this machine at this port is kept."""
    key = hashlib.sha256(f"{port}\n{machine}".encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return folder / FOLDER / f"{key}-{'entry' if entry else 'test'}.json"


def save(path: Path, work: Unfinished) -> None:
    """Write it whole. OSError when that cannot be done; the old file is then as it was."""
    facts = {
        "command": work.command,
        "machine": work.machine,
        "port": work.port,
        "began": work.began.isoformat(timespec="seconds"),
        "image": pack(work.image),
        "written": [pack(each) for each in work.written],
        "typed": work.typed,
        "options": work.options,
    }
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o600)
        with open(descriptor, "wb") as file:
            file.write(json.dumps(facts).encode("ascii") + b"\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def load(path: Path) -> Unfinished | None:
    """What is there; None when nothing is. UsageError for a file that cannot be read or understood."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UsageError(f"{path}: cannot be read: {error.strerror or error}") from error
    try:
        if len(data) > LARGEST:
            raise ValueError("it is too large")
        return _parsed(json.loads(data))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise UsageError(
            f"{path}: does not hold unfinished work as linktool writes it: {error}",
            "Remove it to go on without",
        ) from error


def _parsed(facts: Mapping[str, Any]) -> Unfinished:
    texts = [facts[name] for name in ("command", "machine", "port")]
    typed, options = facts["typed"], facts["options"]
    if not all(isinstance(text, str) for text in texts) or texts[0] not in COMMANDS:
        raise ValueError("command, machine or port is wrong")
    if isinstance(typed, bool) or not isinstance(typed, int) or typed < 0 or not isinstance(options, dict):
        raise ValueError("typed or options is wrong")
    began = datetime.fromisoformat(facts["began"])
    image = unpack(facts["image"])
    written = tuple(unpack(each) for each in facts["written"])
    return Unfinished(texts[0], texts[1], texts[2], began, image, written, min(typed, len(image)), options)


def remove(path: Path) -> None:
    """The work is done. Never raises."""
    with contextlib.suppress(OSError):
        path.unlink()


class Keeper:
    """Keeps the file up to date while a job runs: `take` is given the job's notes.

    now    a clock in seconds, for the time between two writings
    A folder that cannot be written must not end the work with the machine: `failure` says why then.
    """

    EVERY_S = 1.0

    def __init__(self, path: Path, work: Unfinished, now: Callable[[], float]) -> None:
        self.path, self.work = path, work
        self.failure = ""
        self._now = now
        self._saved_at = float("-inf")
        self._first_pass = True

    @classmethod
    def going_on(cls, path: Path, work: Unfinished) -> Keeper:
        """A keeper for work that is taken up again: what was typed before stays claimed."""
        return cls(path, work, time.monotonic)

    def take(self, topic: str, facts: Mapping[str, Any]) -> None:
        """One note of the job."""
        if topic == "begin" and self.work.command == "enter":
            self._save()
        elif topic == "borrowed":
            before = unpack(facts["image"])
            self.work = replace(self.work, image=self.work.image.overlay(before, "replace"))
            self._save()
        elif topic == "borrowing":
            self.work = replace(self.work, written=(*self.work.written, unpack(facts["image"])))
            self._save()
        elif topic == "retype":
            self._first_pass = False
        elif topic == "progress" and self.work.command == "enter" and self._first_pass:
            self._typed(int(facts["done"]), int(facts["total"]), str(facts["phase"]))

    def _typed(self, done: int, total: int, phase: str) -> None:
        if phase != "enter" or total != len(self.work.image) or done <= self.work.typed:
            return
        self.work = replace(self.work, typed=done)
        if done == total or self._now() - self._saved_at >= self.EVERY_S:
            self._save()

    def end(self, finished: bool, typed: Iterable[Range] = ()) -> None:
        """The job is over: forget it, or keep the last word on it. typed: what of the image was."""
        if finished:
            remove(self.path)
            return
        if self.work.command == "enter":
            ranges = tuple(typed)
            cells = self.work.image.cells()
            count = sum(1 for _ in takewhile(lambda cell: any(cell[0] in each for each in ranges), cells))
            self.work = replace(self.work, typed=count)
        self._save()

    def _save(self) -> None:
        try:
            save(self.path, self.work)
            self._saved_at = self._now()
        except OSError as error:
            self.failure = self.failure or f"{self.path} cannot be written: {error.strerror or error}"
