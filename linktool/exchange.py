"""One conversation on its port, carried from Wait to Wait: each action is done, each event handed back.

Rules: every time is the port's own clock. The user's first wish to stop is Cancelled, once, at a Wait; the
second is Lost, and so is a port that is gone. After Lost nothing is sent or waited for any more: every Send
and Wait gets Lost again, and a conversation that still does not end is a mistake of ours (RuntimeError).
What the conversation raises passes through unchanged.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeAlias, TypeVar

from linktool.actions import Cancelled, Event, Lost, Note, Noted, Received, Send, Sent, Talk, TimeUp, Wait
from linktool.errors import PortLost
from linktool.port import Port
from linktool.trace import Entry

R = TypeVar("R")
Stop: TypeAlias = Callable[[], int]
Trace: TypeAlias = Callable[[Entry], None]

ACTIONS_AFTER_LOST = 100
STILL_READS = 1000
STOPPED_AT_ONCE = "stopped at once"


class Exchange(Generic[R]):
    """One conversation on its port, carried from Wait to Wait."""

    def __init__(
        self,
        job: Talk[R],
        port: Port,
        stop: Stop,
        notes: Callable[[Note, float], None] | None,
        trace: Trace | None,
    ) -> None:
        self.job, self.port = job, port
        self.due = 0.0
        self.done = False
        self.error: Exception | None = None
        self._stop, self._notes, self._trace = stop, notes, trace
        self.value: R | None = None
        self._asked = 0
        self._cancelled = False
        self._lost = ""
        self._after_lost = 0
        self._still = 0

    def start(self) -> None:
        """Up to the first Wait."""
        self._go_on(None)

    def listen(self, until: float) -> None:
        """Look at the port, at most until its clock reads `until`; go on if that gave an event."""
        event = self._stopped() or self._heard(min(until, self.due))
        if event is not None:
            self._go_on(event)

    def _go_on(self, event: Event | None) -> None:
        while True:
            try:
                action = self.job.send(event)  # type: ignore[arg-type]  # None starts a generator
            except StopIteration as end:
                self.value, self.done = end.value, True
                return
            event = self._carried_out(action)
            if event is None:
                return

    def _carried_out(self, action: object) -> Event | None:
        """The event that answers `action`; None for a Wait that has begun."""
        at = self.port.now()
        if self._lost:
            self._after_lost += 1
            if self._after_lost > ACTIONS_AFTER_LOST:
                raise RuntimeError(f"the conversation goes on though it was told: {self._lost}")
        if isinstance(action, Note):
            self._write_down("note", at, topic=action.topic, facts=dict(action.facts))
            if self._notes is not None:
                self._notes(action, at)
            return Noted(at)
        if self._lost:
            return Lost(self._lost, at)
        if isinstance(action, Wait):
            # A number that is not one (NaN) only looks.
            self.due = at + action.seconds if action.seconds > 0 else at
            return None
        if isinstance(action, Send):
            return self._stopped(at_wait=False) or self._sent(action.data)
        raise TypeError(f"a conversation yielded {action!r}, which is no action")

    def _sent(self, data: bytes) -> Event:
        try:
            self.port.write(data)
        except PortLost as error:
            return self._loss(str(error))
        at = self.port.now()
        self._write_down("out", at, data)
        return Sent(at)

    def _heard(self, until: float) -> Event | None:
        before = self.port.now()
        try:
            data = self.port.read(until)
        except PortLost as error:
            return self._loss(str(error))
        at = self.port.now()
        if data:
            self._write_down("in", at, data)
            return Received(data, at)
        if at >= self.due:
            return TimeUp(at)
        self._still = self._still + 1 if at <= before < until else 0
        if self._still > STILL_READS:
            raise RuntimeError(f"the clock of the port {self.port.name} stands still at {at}")
        return None

    def _stopped(self, at_wait: bool = True) -> Event | None:
        asked = self._stop()
        if not asked:
            return None
        if asked > self._asked:
            self._asked = asked
            self._write_down("stop", self.port.now(), asked=asked)
        if asked > 1:
            return self._loss(STOPPED_AT_ONCE)
        if at_wait and not self._cancelled:
            self._cancelled = True
            return Cancelled(self.port.now())
        return None

    def _loss(self, reason: str) -> Lost:
        at = self.port.now()
        self._lost = reason
        self._write_down("lost", at, reason=reason)
        return Lost(reason, at)

    def _write_down(self, event: str, at: float, data: bytes = b"", **facts: Any) -> None:
        if self._trace is not None:
            self._trace(Entry(at, event, data, facts))
