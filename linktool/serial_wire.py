"""Two ways to read and write an open pyserial port: by its descriptor, or by the library's own calls.

By descriptor (POSIX devices): waits exactly, counts what was written, does not spin while flow control holds.
By the library (Windows): looks every few milliseconds. Both give at once what has come, lose nothing that was
collected, and end every write. They raise what the system raises; the port above says what it means.
"""

from __future__ import annotations

import os
import select
import sys
import time
from typing import Any, Protocol

from linktool.readiness import ready

CHUNK = 4096
POLL_S = 0.002


class Held(Exception):
    """Nothing more could be written before the time was up: flow control, or a device that hangs."""


class Gone(Exception):
    """The device reports bytes but gives none. `hung_up`: the system also says that it is unplugged."""

    def __init__(self, hung_up: bool) -> None:
        self.hung_up = hung_up
        super().__init__(hung_up)


class Wire(Protocol):
    """Times are time.monotonic seconds."""

    def read(self, until: float) -> bytes: ...

    def write(self, data: bytes, until: float) -> None: ...

    def descriptor(self) -> int | None: ...


class DescriptorWire:
    """By the descriptor of an open serial.Serial on POSIX."""

    def __init__(self, library_port: Any) -> None:
        self._descriptor: int = library_port.fileno()

    def descriptor(self) -> int | None:
        return self._descriptor

    def read(self, until: float) -> bytes:
        while not ready(self._descriptor, until - time.monotonic()):
            if time.monotonic() >= until:
                return b""
        try:
            data = os.read(self._descriptor, CHUNK)
        except BlockingIOError:
            return b""
        if not data:
            raise Gone(_hung_up(self._descriptor))
        return data

    def write(self, data: bytes, until: float) -> None:
        rest = memoryview(data)
        while rest:
            try:
                rest = rest[os.write(self._descriptor, rest) :]
            except BlockingIOError:
                if not ready(self._descriptor, until - time.monotonic(), to_write=True):
                    raise Held from None
                # Ready but refused again: some drivers say so while they are held. Do not spin.
                time.sleep(POLL_S)
                if time.monotonic() >= until:
                    raise Held from None


class LibraryWire:
    """By the calls of any open pyserial port whose `timeout` is 0 and whose `write_timeout` is set."""

    def __init__(self, library_port: Any) -> None:
        self._port = library_port

    def descriptor(self) -> int | None:
        return None

    def read(self, until: float) -> bytes:
        while True:
            # Asking for one byte where none waits also makes the library look whether the device is there.
            data = bytes(self._port.read(max(1, min(self._port.in_waiting, CHUNK))))
            if len(data) == 1:
                data += self._rest()
            left = until - time.monotonic()
            if data or left <= 0:
                return data
            time.sleep(min(POLL_S, left))

    def write(self, data: bytes, until: float) -> None:
        self._port.write(data)

    def _rest(self) -> bytes:
        """What came behind the first byte. A port that fails here will fail again at the next read."""
        try:
            return bytes(self._port.read(min(self._port.in_waiting, CHUNK)))
        except OSError:
            return b""


def _hung_up(descriptor: int) -> bool:
    if sys.platform != "win32":
        poll = select.poll()
        poll.register(descriptor, select.POLLIN)
        return any(flags & (select.POLLHUP | select.POLLERR | select.POLLNVAL) for _, flags in poll.poll(0))
    return False
