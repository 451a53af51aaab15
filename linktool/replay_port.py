"""A port that plays a recording back, strictly, on a virtual clock.

What the host sends must be the bytes of the recording, in its order; answers come as long after the keys
before them as they did then. How the host cuts its bytes into writes is its own affair. The first difference
raises ReplayMismatch, which shows both sides one above the other; `finish` raises it for what is left over.
The user's wishes to stop are played back by `stops`, a lost link by PortLost.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from linktool.errors import PortLost
from linktool.exchange import STOPPED_AT_ONCE
from linktool.trace import Entry

TOLERANCE_S = 0.001
"""An answer due within this time counts as come when the host sends: both clocks were rounded."""
_SHOWN = 48


class ReplayMismatch(AssertionError):
    """The host did something else than the recording says."""


class ReplayPort:
    """The Port contract over a recording. `entries` are one recording of trace.read_trace."""

    def __init__(self, entries: Sequence[Entry], name: str = "replay") -> None:
        self.name = name
        self._entries = _port_side(entries)
        self._next = 0
        self._sent = b""
        self._run = b""
        self._waiting = bytearray()
        self._late_s = 0.0
        self._now = 0.0
        self._asked: list[int] = []

    def now(self) -> float:
        return self._now

    def stops(self) -> Callable[[], int]:
        """The `stop` for one drive: how often the user asked during it, as the recording has it."""
        before = len(self._asked)

        def stop() -> int:
            self._take_due(self._now)
            return max(self._asked[before:], default=0)

        return stop

    def write(self, data: bytes) -> None:
        self._take_due(self._now + TOLERANCE_S)
        while data:
            entry = self._entry()
            if entry is None:
                raise ReplayMismatch(f"the recording has ended, but the host sends {shown(data)}")
            if entry.event == "lost":
                self._next += 1
                raise PortLost(str(entry.facts.get("reason", "lost")))
            if entry.event != "out":
                raise ReplayMismatch(self._too_early(entry, data))
            wanted = entry.data[len(self._sent) :]
            part, data = data[: len(wanted)], data[len(wanted) :]
            if not wanted.startswith(part):
                raise ReplayMismatch(self._difference(wanted, part + data))
            self._sent += part
            self._run += part
            if self._sent == entry.data:
                self._late_s = self._now - entry.at
                self._sent = b""
                self._next += 1
                self._take_due(self._now + TOLERANCE_S)

    def read(self, until: float) -> bytes:
        self._take_due(self._now)
        entry = self._entry()
        if not self._waiting and entry is not None and entry.event != "out" and self._due(entry) <= until:
            self._now = max(self._now, self._due(entry))
            self._take_due(self._now)
        elif not self._waiting:
            self._now = max(self._now, until)
        if self._waiting:
            data, self._waiting = bytes(self._waiting), bytearray()
            return data
        entry = self._entry()
        if entry is not None and entry.event == "lost" and self._due(entry) <= self._now:
            self._next += 1
            raise PortLost(str(entry.facts.get("reason", "lost")))
        return b""

    def close(self) -> None:
        pass

    def finish(self) -> None:
        """ReplayMismatch when the host left out part of the recording."""
        if self._waiting:
            raise ReplayMismatch(f"the host did not read {shown(bytes(self._waiting))}")
        entry = self._entry()
        if entry is None:
            return
        rest = entry.data[len(self._sent) :]
        verb = {"out": "send", "in": "wait for"}.get(entry.event, "wait for the end of the link")
        raise ReplayMismatch(f"the host ended at {self._now:.6f} s and did not {verb} {shown(rest)}".rstrip())

    def _entry(self) -> Entry | None:
        return self._entries[self._next] if self._next < len(self._entries) else None

    def _due(self, entry: Entry) -> float:
        return entry.at + self._late_s

    def _take_due(self, at: float) -> None:
        """Let everything come that comes by itself and is due."""
        while (
            (entry := self._entry()) is not None and entry.event in ("in", "stop") and self._due(entry) <= at
        ):
            if entry.event == "in":
                self._waiting += entry.data
                self._run = b""
            else:
                self._asked.append(asked if isinstance(asked := entry.facts.get("asked"), int) else 1)
            self._next += 1

    def _too_early(self, entry: Entry, data: bytes) -> str:
        comes = f"{shown(entry.data)} comes" if entry.event == "in" else "the user asks to stop"
        return (
            f"at {self._now:.6f} s the host sends {shown(data)}, but in the recording {comes} first, "
            f"at {self._due(entry):.6f} s"
        )

    def _difference(self, wanted: bytes, found: bytes) -> str:
        """The two texts one above the other, with what was sent alike before them."""
        for later in self._entries[self._next + 1 :]:
            if later.event != "out":
                break
            wanted += later.data
        same = 0
        while same < min(len(wanted), len(found)) and wanted[same] == found[same]:
            same += 1
        before = (self._run + wanted[:same])[-_SHOWN:]
        width = len(_escaped(before))
        return (
            f"at {self._now:.6f} s the host sends something else than the recording\n"
            f"  recorded  {_escaped(before + wanted[same : same + _SHOWN])}\n"
            f"  sent      {_escaped(before + found[same : same + _SHOWN])}\n"
            f"            {'':{width}}^"
        )


def _port_side(entries: Sequence[Entry]) -> list[Entry]:
    """What the port itself did: no notes; no loss that was only the user's second wish to stop."""
    kept: list[Entry] = []
    for entry in entries:
        if entry.event == "lost" and entry.facts.get("reason") == STOPPED_AT_ONCE:
            continue
        if entry.event in ("in", "out", "stop", "lost"):
            kept.append(entry)
    return kept


def shown(data: bytes) -> str:
    """Bytes in quotes, control codes and high ones escaped."""
    return f'"{_escaped(data)}"' if data else ""


def _escaped(data: bytes) -> str:
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")
