"""Where a served board can be reached: a pseudo-terminal, or a TCP port for one client at a time.

A door takes bytes for whoever is connected and gives what they sent. What nobody takes is lost, as on a
real line. A client may go and come back; `hang_up` is the cable pulled, and nobody can come back.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
import sys
from typing import Protocol

from linktool.errors import PortError, UsageError

CHUNK = 4096
OUTSIDE = "every computer that can reach this one can type on the board; nothing asks for a password"
FORMS = "pty, or tcp:HOST:PORT such as tcp:127.0.0.1:0 (0 takes any free port)"


class Door(Protocol):
    """One way in. `name` is what a client opens."""

    name: str

    def waiting(self) -> tuple[int, ...]:
        """File numbers that become readable when there is something to receive."""
        ...

    def receive(self) -> bytes:
        """What a client sent, or b"" for nothing now."""
        ...

    def send(self, data: bytes) -> None:
        """Hand bytes to the client, if there is one."""
        ...

    def hang_up(self) -> None:
        """Close everything. Safe to call twice."""
        ...


def open_door(where: str, allow_remote: bool = False) -> Door:
    """UsageError for a place that is none or not allowed; PortError when it cannot be opened."""
    kind, _, rest = where.partition(":")
    if kind == "pty" and not rest:
        return PtyDoor()
    if kind == "tcp" and rest:
        host, separator, number = rest.rpartition(":")
        if separator and host and number.isascii() and number.isdigit() and int(number) <= 0xFFFF:
            return TcpDoor(host.strip("[]"), int(number), allow_remote)
    raise UsageError(f"{where!r} is no place to serve a board", f"Forms: {FORMS}")


def _outside(address: str | int) -> bool:
    return not ipaddress.ip_address(str(address).partition("%")[0]).is_loopback


def reachable_from_outside(name: str) -> bool:
    """Whether the door of this name is open to other computers."""
    _, separator, rest = name.partition("://")
    return bool(separator) and _outside(rest.rpartition(":")[0].strip("[]"))


class PtyDoor:
    """A pseudo-terminal; `name` is its device. Our own hold on it lets clients come and go."""

    def __init__(self) -> None:
        if sys.platform == "win32":
            raise UsageError("this system has no pseudo-terminals", "Serve on tcp:127.0.0.1:0 instead")
        import tty

        try:
            self._master, self._slave = os.openpty()
            tty.setraw(self._slave)
            self.name = os.ttyname(self._slave)
            os.set_blocking(self._master, False)
        except OSError as error:
            raise PortError(f"no pseudo-terminal can be opened: {error}") from error
        self._open = True

    def waiting(self) -> tuple[int, ...]:
        return (self._master,) if self._open else ()

    def receive(self) -> bytes:
        if not self._open:
            return b""
        try:
            return os.read(self._master, CHUNK)
        except OSError:
            return b""

    def send(self, data: bytes) -> None:
        if self._open:
            with contextlib.suppress(OSError):
                os.write(self._master, data)

    def hang_up(self) -> None:
        if self._open:
            self._open = False
            for number in (self._master, self._slave):
                with contextlib.suppress(OSError):
                    os.close(number)


class TcpDoor:
    """A listening TCP port; `name` is its socket:// URL. While a client is there, others are turned away."""

    def __init__(self, host: str, port: int, allow_remote: bool = False) -> None:
        try:
            family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        except (OSError, UnicodeError) as error:
            why = getattr(error, "strerror", None) or error
            raise PortError(f"{host!r} is no host this computer knows: {why}") from error
        if not allow_remote and _outside(address[0]):
            raise UsageError(
                f"served on {host}, {OUTSIDE}",
                "Serve on 127.0.0.1, or allow other computers if that is meant",
            )
        self._client: socket.socket | None = None
        self._listener = socket.socket(family, socket.SOCK_STREAM)
        try:
            if os.name == "posix":
                self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._listener.bind(address)
            self._listener.listen(4)
            self._listener.setblocking(False)
        except OSError as error:
            self._listener.close()
            raise PortError(f"cannot listen on {host} port {port}: {error.strerror or error}") from error
        bound = self._listener.getsockname()
        shown = f"[{bound[0]}]" if ":" in bound[0] else bound[0]
        self.name = f"socket://{shown}:{bound[1]}"

    def waiting(self) -> tuple[int, ...]:
        numbers = (self._listener.fileno(), self._client.fileno() if self._client else -1)
        return tuple(number for number in numbers if number >= 0)

    def receive(self) -> bytes:
        data = self._drain(CHUNK)
        self._accept()
        return data

    def _drain(self, most: int) -> bytes:
        """What the client has sent, about `most` bytes of it; notices when it is gone."""
        data = b""
        while self._client is not None and len(data) < most:
            try:
                more = self._client.recv(CHUNK)
            except (BlockingIOError, InterruptedError):
                break
            except OSError:
                more = b""
            if not more:
                self._leave()
            data += more
        return data

    def _accept(self) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError:
            return
        if self._client is not None:
            client.close()
            return
        client.setblocking(False)
        with contextlib.suppress(OSError):
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client

    def send(self, data: bytes) -> None:
        if self._client is None:
            return
        try:
            self._client.send(data)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self._leave()

    def _leave(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None

    def hang_up(self) -> None:
        self._leave()
        self._listener.close()
