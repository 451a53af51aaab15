"""A port over TCP: `socket://host:port`, a transport of our own.

Keys go out at once (no delay for small packets). All that came in before the other side closed is
delivered first; only then the end is told, as PortLost. A connection that cannot be made within
`connect_s` is a PortError, a peer that takes nothing for `write_s` is lost. Uses select only, so it
runs on Windows too. The far end sets rate and frame; of the link settings only 7-bit frames matter here.
"""

from __future__ import annotations

import contextlib
import errno
import socket
import time
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from linktool.errors import PortError, PortLost, UsageError
from linktool.readiness import ready

if TYPE_CHECKING:
    from linktool.port_lock import PortLock

CONNECT_S = 5.0
WRITE_S = 5.0
_CHUNK = 65536
_SEVEN_BITS = bytes(code & 0x7F for code in range(256))
_AGAIN = (BlockingIOError, InterruptedError)


def host_and_port(url: str) -> tuple[str, int]:
    """("host", 4000) from `socket://host:4000`; IPv6 in brackets. UsageError with the form allowed."""
    scheme = url.partition("://")[0]
    wanted = f"{scheme}://HOST:PORT, for instance {scheme}://127.0.0.1:4000"
    try:
        parts = urlsplit(url)
        host, number = parts.hostname, parts.port
    except ValueError as error:
        raise UsageError(f"the port name {url!r} cannot be read: {error}", f"Write {wanted}") from None
    if not host or not number:
        missing = "host" if not host else "port number"
        raise UsageError(f"the port name {url!r} has no {missing}", f"Write {wanted}")
    if parts.path.strip("/") or parts.query or parts.fragment or parts.username is not None:
        raise UsageError(f"the port name {url!r} has more than a host and a port number", f"Write {wanted}")
    return host, number


class TcpPort:
    """The Port contract over one TCP connection; connected when made. `lock` is released at close."""

    real_time = True

    def __init__(
        self,
        url: str,
        *,
        seven_bits: bool = False,
        connect_s: float = CONNECT_S,
        write_s: float = WRITE_S,
        lock: PortLock | None = None,
    ) -> None:
        self.name = url
        self._write_s = write_s
        self._seven_bits = seven_bits
        self._lock = lock
        self._open = True
        host, number = host_and_port(url)
        try:
            self._socket = socket.create_connection((host, number), timeout=connect_s)
        except (OSError, UnicodeError) as error:
            raise _not_connected(url, host, number, connect_s, error) from error
        self._socket.setblocking(False)
        # Some systems refuse options on odd sockets; the link works without them.
        with contextlib.suppress(OSError):
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with contextlib.suppress(OSError):
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)

    def now(self) -> float:
        return time.monotonic()

    def fileno(self) -> int:
        """For waiting on many ports at once."""
        return self._socket.fileno()

    def write(self, data: bytes) -> None:
        rest = memoryview(data.translate(_SEVEN_BITS) if self._seven_bits else data)
        until = self.now() + self._write_s
        try:
            while rest:
                try:
                    rest = rest[self._socket.send(rest) :]
                except _AGAIN:
                    if not ready(self._socket.fileno(), until - self.now(), to_write=True):
                        raise PortLost(
                            f"{self.name}: the other side took no key for {self._write_s:g} s",
                            "See whether it has stopped, or is held by its own flow control",
                        ) from None
        except (OSError, ValueError) as error:
            raise self._lost(error) from error

    def read(self, until: float) -> bytes:
        try:
            while True:
                try:
                    data = self._socket.recv(_CHUNK)
                    break
                except _AGAIN:
                    if not ready(self._socket.fileno(), until - self.now()) and self.now() >= until:
                        return b""
        except (OSError, ValueError) as error:
            raise self._lost(error) from error
        if not data:
            raise PortLost(f"{self.name}: the other side closed the connection")
        return data.translate(_SEVEN_BITS) if self._seven_bits else data

    def close(self) -> None:
        if not self._open:
            return
        self._open = False
        # Closing with unread bytes would send a reset, which may take the last keys with it.
        with contextlib.suppress(OSError, ValueError):
            self._socket.shutdown(socket.SHUT_WR)
            while self._socket.recv(_CHUNK):
                pass
        with contextlib.suppress(OSError):
            self._socket.close()
        if self._lock is not None:
            self._lock.release()

    def _lost(self, error: Exception) -> PortLost:
        if not self._open:
            return PortLost(f"{self.name}: the port is closed")
        if isinstance(error, ConnectionError):
            return PortLost(f"{self.name}: the other side broke the connection")
        return PortLost(f"{self.name}: the connection failed: {_text(error)}")


def _text(error: BaseException) -> str:
    return (getattr(error, "strerror", None) or str(error) or type(error).__name__).rstrip(".")


def _not_connected(url: str, host: str, number: int, seconds: float, error: Exception) -> PortError:
    if isinstance(error, (socket.gaierror, UnicodeError)):
        return PortError(f"{url}: no address is known for the host {host!r}", "See how the host is spelt")
    if isinstance(error, ConnectionRefusedError):
        return PortError(
            f"{url}: nothing listens at port {number} of {host}",
            "Start the server first, or see its port number",
        )
    if isinstance(error, TimeoutError):
        return PortError(
            f"{url}: no answer from {host} within {seconds:g} s",
            "See whether the host is on and can be reached",
        )
    if getattr(error, "errno", None) in (errno.EHOSTUNREACH, errno.ENETUNREACH):
        return PortError(f"{url}: the host {host} cannot be reached", "See the network and its cables")
    return PortError(f"{url}: cannot connect: {_text(error)}")
