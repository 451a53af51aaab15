"""The one loop that does I/O: it carries out what conversations ask for and hands events back.

Only the driver calls a port. A Wait is cut in slices, so that a wish to stop is seen within SLICE_S of real
time. Several conversations run side by side in one thread: ports on virtual clocks just run; real ones with a
descriptor are waited for together; real ones without are looked at every POLL_S. What is done with an action,
and what an event means, stands in exchange.py.
"""

from __future__ import annotations

import selectors
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from linktool.actions import Note, Talk
from linktool.exchange import Exchange, Stop, Trace
from linktool.interrupts import interrupts
from linktool.port import Port

__all__ = ["Outcome", "drive", "drive_all", "interrupts", "never"]

R = TypeVar("R")

SLICE_S = 0.05
POLL_S = 0.002
"""How often ports that cannot be waited for together are looked at: well under a character at 60/s."""


def never() -> int:
    """A `stop` that nobody asks."""
    return 0


def drive(
    job: Talk[R],
    port: Port,
    *,
    stop: Stop = never,
    notes: Callable[[Note, float], None] | None = None,
    trace: Trace | None = None,
) -> R:
    """Run `job` on `port` to its end and return its value.

    stop   how often the user has asked to stop: 1 cancels, 2 or more cuts the link off
    notes  is given each Note and the port's time in seconds
    trace  is given an Entry for everything that passes
    The port stays open. Raises what the job raises; RuntimeError when the job cannot be ended.
    """
    exchange = Exchange(job, port, stop, notes, trace)
    try:
        exchange.start()
        while not exchange.done:
            exchange.listen(port.now() + SLICE_S)
        return exchange.value  # type: ignore[return-value]  # it is done
    finally:
        job.close()


@dataclass(frozen=True)
class Outcome(Generic[R]):
    """How one of several jobs ended: with a value, or with the error it raised."""

    ended: R | None = None
    error: Exception | None = None

    def value(self) -> R:
        """The job's value; raises the job's error."""
        if self.error is not None:
            raise self.error
        return self.ended  # type: ignore[return-value]


def drive_all(
    pairs: Sequence[tuple[Talk[R], Port]],
    *,
    stop: Stop = never,
    notes: Callable[[int, Note, float], None] | None = None,
    traces: Sequence[Trace | None] = (),
) -> tuple[Outcome[R], ...]:
    """Run several jobs side by side, each on its own port, in this thread; outcomes in the order given.

    notes   is given the number of the pair (from 0), the Note and its port's time
    traces  one a pair, or none at all
    One that fails does not stop the others. A wish to stop goes to all of them.
    """
    if traces and len(traces) != len(pairs):
        raise ValueError(f"{len(traces)} traces for {len(pairs)} jobs")
    wish = _Wish(stop)

    def note_of(number: int) -> Callable[[Note, float], None] | None:
        return None if notes is None else lambda note, at: notes(number, note, at)

    exchanges = [
        Exchange(job, port, wish.known, note_of(number), traces[number] if traces else None)
        for number, (job, port) in enumerate(pairs)
    ]
    try:
        with _Together(exchanges, wish) as together:
            together.run()
    finally:
        for exchange in exchanges:
            exchange.job.close()
    return tuple(Outcome(exchange.value, exchange.error) for exchange in exchanges)


class _Wish:
    """The user's wish to stop, asked once a round for all exchanges."""

    def __init__(self, stop: Stop) -> None:
        self._stop = stop
        self._asked = 0

    def known(self) -> int:
        return self._asked

    def grew(self) -> bool:
        before, self._asked = self._asked, max(self._asked, self._stop())
        return self._asked > before


class _Together:
    """Sessions side by side. Three kinds of port: virtual ones just run; real ones with a descriptor
    are waited for together; real ones without (`real_time` says so) are looked at every POLL_S.
    The clock of a real one is time.monotonic."""

    def __init__(self, exchanges: Sequence[Exchange[Any]], wish: _Wish) -> None:
        self._wish = wish
        self._all = list(exchanges)
        self._virtual: set[Exchange[Any]] = set()
        self._polled: set[Exchange[Any]] = set()
        self._waited: dict[Exchange[Any], int] = {}
        self._selector = _selector()

    def __enter__(self) -> _Together:
        return self

    def __exit__(self, *_: object) -> None:
        self._selector.close()

    def run(self) -> None:
        for exchange in self._all:
            self._turn(exchange, None)
            if not exchange.done:
                self._enrol(exchange)
        while self._virtual or self._polled or self._waited:
            self._round()

    def _enrol(self, exchange: Exchange[Any]) -> None:
        descriptor = getattr(exchange.port, "fileno", lambda: None)()
        if descriptor is not None:
            self._selector.register(descriptor, selectors.EVENT_READ, exchange)
            self._waited[exchange] = descriptor
        elif getattr(exchange.port, "real_time", False):
            self._polled.add(exchange)
        else:
            self._virtual.add(exchange)

    def _round(self) -> None:
        everyone = self._wish.grew()
        for exchange in list(self._virtual):
            self._turn(exchange, exchange.port.now() + SLICE_S)
        ready = {key.data for key, _ in self._selector.select(self._pause())} if self._waited else set()
        now = time.monotonic()
        for exchange in list(self._waited):
            if everyone or exchange in ready or exchange.due <= now:
                self._turn(exchange, now)
        for exchange in list(self._polled):
            self._turn(exchange, now)
        if self._polled and not self._waited and not self._virtual:
            time.sleep(self._pause())

    def _pause(self) -> float:
        """How long the round may wait for real ports."""
        if self._virtual:
            return 0.0
        longest = POLL_S if self._polled else SLICE_S
        due = min((exchange.due for exchange in (*self._waited, *self._polled)), default=0.0)
        return min(longest, max(0.0, due - time.monotonic()))

    def _turn(self, exchange: Exchange[Any], until: float | None) -> None:
        """Let it look at its port until then; None starts it."""
        try:
            if until is None:
                exchange.start()
            else:
                exchange.listen(until)
        except Exception as error:
            exchange.error, exchange.done = error, True
            exchange.job.close()
        if exchange.done:
            self._virtual.discard(exchange)
            self._polled.discard(exchange)
            if exchange in self._waited:
                self._selector.unregister(self._waited.pop(exchange))


def _selector() -> selectors.BaseSelector:
    """epoll on Linux. Elsewhere select, because other calls do not know every kind of terminal device."""
    return selectors.DefaultSelector() if sys.platform == "linux" else selectors.SelectSelector()
