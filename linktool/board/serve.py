"""Boards served in real time, on pseudo-terminals and TCP ports, by one thread that sleeps while they wait.

Each board has a door and runs in step with the clock. The loop wakes for what a client sends and when a
board has something to do; a processor that only polls costs nothing.
"""

from __future__ import annotations

import contextlib
import os
import selectors
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from formats import files
from linktool.board.board import Board
from linktool.board.doors import OUTSIDE, Door, open_door, reachable_from_outside
from linktool.board.real_time import RealTime
from linktool.board.url import open_board
from linktool.errors import UsageError

_Selector: type[selectors.BaseSelector] = getattr(selectors, "PollSelector", selectors.SelectSelector)
"""One that goes by file numbers alone: a number may be closed and come back as another client's."""


@dataclass(frozen=True)
class Order:
    """One board to serve: its name as `open_board` takes it, where, and a file for its memory at the end."""

    board: str = "board:"
    where: str = "pty"
    memory_out: str | None = None


def serve(
    board: str,
    where: str,
    memory_out: str | None,
    announce: Callable[[str], None],
    *,
    allow_remote: bool = False,
    overwrite: bool = False,
) -> None:
    """Serve one board until SIGINT or SIGTERM. The first line announced is `port: NAME`.

    memory_out  a file for the 64 KiB of memory at the end, written whole or not at all
    UsageError, PortError and FormatError as `open_board`, `open_door` and `files.save` raise them.
    """
    serve_many([Order(board, where, memory_out)], announce, allow_remote=allow_remote, overwrite=overwrite)


def serve_many(
    orders: Sequence[Order],
    announce: Callable[[str], None],
    *,
    allow_remote: bool = False,
    overwrite: bool = False,
) -> None:
    """Serve several boards from this one thread; a `port: NAME` line for each, in order."""
    for path in (order.memory_out for order in orders):
        if path is not None and os.path.exists(path) and not overwrite:
            raise UsageError(f"{path} is there already", "Choose another name, or allow it with --overwrite")
    with Service(allow_remote=allow_remote) as service, _signals(service.stop):
        boards = []
        for order in orders:
            board = open_board(order.board)
            boards.append((board, order.memory_out))
            name = service.add(board, order.where)
            announce(f"port: {name}")
            if reachable_from_outside(name):
                announce(f"caution: {OUTSIDE}")
        service.run()
    for board, path in boards:
        if path is not None:
            files.save(path, board.memory(0, 0xFFFF), force=overwrite)


@contextlib.contextmanager
def _signals(stop: Callable[[], None]) -> Iterator[None]:
    """SIGINT and SIGTERM call `stop`; the handlers of before come back at the end."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.signal(number, lambda *_: stop()) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler if handler is not None else signal.SIG_DFL)


class Service:
    """The loop. `stop` may be called from a signal handler or another thread."""

    def __init__(self, *, allow_remote: bool = False, clock: Callable[[], float] = time.monotonic) -> None:
        self._allow_remote = allow_remote
        self._clock = clock
        self._boards: list[tuple[RealTime, Door]] = []
        self._stopping = False
        self._bell, self._pull = socket.socketpair()
        self._bell.setblocking(False)
        self._pull.setblocking(False)

    def __enter__(self) -> Service:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def add(self, board: Board, where: str) -> str:
        """Serve this board too; the name of its door."""
        door = open_door(where, self._allow_remote)
        self._boards.append((RealTime(board, self._clock()), door))
        return door.name

    def stop(self) -> None:
        """End `run` soon."""
        self._stopping = True
        with contextlib.suppress(OSError):
            self._pull.send(b"\0")

    def close(self) -> None:
        """Hang up everywhere."""
        for _, door in self._boards:
            door.hang_up()
        self._bell.close()
        self._pull.close()

    def run(self) -> None:
        """Serve until `stop` is called."""
        with _Selector() as selector:
            selector.register(self._bell, selectors.EVENT_READ)
            due = [0.0] * len(self._boards)
            while not self._stopping:
                wanted = {number: index for index in range(len(due)) for number in self._listening(index)}
                self._watch(selector, wanted)
                wait = min(due, default=float("inf")) - self._clock()
                ready = selector.select(None if wait == float("inf") else max(0.0, wait))
                now = self._clock()
                turns = {wanted[key.fd] for key, _ in ready if key.fd in wanted}
                turns.update(index for index, at in enumerate(due) if at <= now)
                for index in turns:
                    self._turn(*self._boards[index], now)
                    due[index] = self._boards[index][0].due()

    def _watch(self, selector: selectors.BaseSelector, wanted: dict[int, int]) -> None:
        watched = {key.fd for key in selector.get_map().values()} - {self._bell.fileno()}
        for number in watched - wanted.keys():
            selector.unregister(number)
        for number in wanted.keys() - watched:
            selector.register(number, selectors.EVENT_READ)

    def _listening(self, index: int) -> tuple[int, ...]:
        paced, door = self._boards[index]
        return door.waiting() if paced.hungry else ()

    @staticmethod
    def _turn(paced: RealTime, door: Door, now: float) -> None:
        if paced.lost:
            return
        for_host = paced.turn(now)
        if for_host:
            door.send(for_host)
        if paced.hungry:
            data = door.receive()
            if data:
                paced.feed(data)
        if paced.lost:
            door.hang_up()
