"""RFC 2217 against pyserial's own server side (serial.rfc2217.PortManager), a reference of general use,
in front of a pseudo-terminal; and against servers that refuse, hold or break off, by hand."""

from __future__ import annotations

import contextlib
import os
import selectors
import socket
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import serial
import serial.rfc2217

from linktool.errors import PortError, PortLost
from linktool.machine import Link
from linktool.port_lock import PortLock
from linktool.rfc2217_port import Rfc2217Port
from linktool.telnet import DO, DONT, WILL, WONT, advice, option


class Remembering(serial.Serial):  # type: ignore[misc]
    """A serial port on a pseudo-terminal that remembers its lines, which a pseudo-terminal does not have."""

    def __init__(self, name: str) -> None:
        self.lines: list[tuple[str, bool]] = []
        super().__init__(name, timeout=0)

    def _update_dtr_state(self) -> None:
        self.lines.append(("dtr", self._dtr_state))

    def _update_rts_state(self) -> None:
        self.lines.append(("rts", self._rts_state))

    cts = dsr = ri = cd = property(lambda self: True)


class Server:
    """One RFC 2217 server for one client: the reference's port manager between a socket and a pty."""

    def __init__(self) -> None:
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        self.serial = Remembering(os.ttyname(self.near))
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self.listener.getsockname()[1]}"
        self.connection: socket.socket | None = None
        self.manager: Any = None
        self.thread = threading.Thread(target=self._serve)
        self.thread.start()

    def write(self, data: bytes) -> None:
        assert self.connection is not None
        self.connection.sendall(data)

    def _serve(self) -> None:
        self.connection, _ = self.listener.accept()
        self.manager = serial.rfc2217.PortManager(self.serial, self)
        with selectors.DefaultSelector() as selector, contextlib.suppress(OSError):
            selector.register(self.connection, selectors.EVENT_READ)
            selector.register(self.serial.fileno(), selectors.EVENT_READ)
            while True:
                for key, _ in selector.select():
                    if key.fileobj is self.connection:
                        came = self.connection.recv(1000)
                        if not came:
                            return
                        self.serial.write(b"".join(self.manager.filter(came)))
                    else:
                        out = self.serial.read(self.serial.in_waiting)
                        self.write(b"".join(self.manager.escape(out)))

    def close(self) -> None:
        if self.connection is None:
            with contextlib.suppress(OSError):
                socket.create_connection(self.listener.getsockname()).close()
        else:
            with contextlib.suppress(OSError):
                self.connection.shutdown(socket.SHUT_RDWR)
        self.thread.join()
        assert self.connection is not None
        self.connection.close()
        self.listener.close()
        self.serial.close()
        os.close(self.far)
        os.close(self.near)


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.close()


def read_all(port: Rfc2217Port, count: int) -> bytes:
    came, until = b"", port.now() + 5.0
    while len(came) < count and port.now() < until:
        came += port.read(until)
    return came


def test_settings_reach_the_port_and_all_codes_pass_both_ways(server: Server) -> None:
    before = time.monotonic()
    port = Rfc2217Port(server.url, Link(rate=2400, dtr=False, rts=True))
    assert time.monotonic() - before < 10.0
    assert (server.serial.baudrate, server.serial.bytesize, server.serial.parity) == (2400, 8, "N")
    assert not server.serial.rtscts and not server.serial.xonxoff
    assert server.serial.lines[-2:] == [("dtr", False), ("rts", True)]
    codes = bytes(range(256))
    port.write(codes)
    came = b""
    while len(came) < 256:
        came += os.read(server.far, 1000)
    assert came == codes
    os.write(server.far, codes)
    assert read_all(port, 256) == codes
    before = time.monotonic()
    port.close()
    port.close()
    assert time.monotonic() - before < 5.0, "closing waits for nobody"


def test_lines_that_are_left_alone_are_not_touched(server: Server) -> None:
    untouched = list(server.serial.lines)
    Rfc2217Port(server.url, Link(flow="xonxoff")).close()
    assert server.serial.lines == untouched
    assert server.serial.xonxoff


def test_nothing_yet_takes_its_time_and_what_came_is_given_at_once(server: Server) -> None:
    port = Rfc2217Port(server.url, Link())
    before = port.now()
    assert port.read(before - 1) == b""
    assert port.read(before + 0.05) == b""
    assert before + 0.05 <= port.now() < before + 0.5
    os.write(server.far, b"=")
    before = port.now()
    assert port.read(before + 5.0) == b"="
    assert port.now() - before < 1.0
    port.close()


def test_what_came_before_the_server_ended_is_given_first(server: Server) -> None:
    port = Rfc2217Port(server.url, Link())
    server.write(b"0280: A9")
    assert server.connection is not None
    server.connection.shutdown(socket.SHUT_RDWR)
    came = b""
    with pytest.raises(PortLost, match="the other side closed the connection"):
        while True:
            came += port.read(port.now() + 5.0)
    assert came == b"0280: A9"
    port.close()


def test_the_adapter_is_given_time_to_settle_and_the_lock_back(server: Server, tmp_path: Path) -> None:
    slept: list[float] = []
    lock = PortLock.take(server.url, folder=tmp_path)
    Rfc2217Port(server.url, Link(settle_s=2.0), lock=lock, sleep=slept.append).close()
    assert slept == [2.0]
    PortLock.take(server.url, folder=tmp_path).release()


# ---- servers by hand -----------------------------------------------------------------------------------

AGREES = option(DO, 44) + option(DO, 0) + option(WILL, 0)


@contextlib.contextmanager
def by_hand(serve: Callable[[socket.socket], None]) -> Iterator[str]:
    """A server whose one connection `serve` handles."""
    listener = socket.create_server(("127.0.0.1", 0))

    def run() -> None:
        connection, _ = listener.accept()
        with connection, contextlib.suppress(OSError):
            serve(connection)

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield f"rfc2217://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        thread.join()
        listener.close()


def confirming(
    connection: socket.socket,
    change: dict[int, bytes] | None = None,
    opening: bytes = AGREES,
    answers: dict[bytes, bytes] | None = None,
    heard: list[bytes] | None = None,
) -> None:
    """Say `opening`, then confirm each setting until the other side ends. `change` confirms a command with
    another value; `answers` says something when those bytes come; all that came is added to `heard`."""
    connection.sendall(opening)
    came = b""
    while data := connection.recv(1000):
        if heard is not None:
            heard.append(data)
        came += data
        while (start := came.find(b"\xff\xfa\x2c")) >= 0 and (end := came.find(b"\xff\xf0", start)) >= 0:
            command, said = came[start + 3], came[start + 4 : end]
            connection.sendall(advice(44, bytes((command + 100,)) + (change or {}).get(command, said)))
            came = came[end + 2 :]
        for key, answer in (answers or {}).items():
            if key in came:
                connection.sendall(answer)
                came = b""


def test_a_seven_bit_frame_that_is_refused_is_made_with_eight_bits() -> None:
    """Same ten bits: CACM 8(9), 1965, 553-556. C is 1000011: three ones, so even parity sets the top bit."""

    def serve(connection: socket.socket) -> None:
        confirming(connection, {2: b"\x08"}, answers={b"\x41\xc3": b"\x41\xc3"})

    with by_hand(serve) as url:
        port = Rfc2217Port(url, Link(frame="7E1"))
        port.write(b"AC")
        assert read_all(port, 2) == b"AC"
        port.close()


def test_a_setting_that_is_answered_otherwise_is_refused() -> None:
    with (
        by_hand(lambda connection: confirming(connection, {1: (9600).to_bytes(4, "big")})) as url,
        pytest.raises(PortError, match=r"does not set the rate 2400 \(it answers 9600\)"),
    ):
        Rfc2217Port(url, Link(rate=2400))
    with (
        by_hand(lambda connection: confirming(connection, {3: b"\x01"})) as url,
        pytest.raises(PortError, match="does not set the frame 8E1"),
    ):
        Rfc2217Port(url, Link(frame="8E1"))


def test_a_setting_that_is_not_confirmed_is_refused() -> None:
    def silent(connection: socket.socket) -> None:
        connection.sendall(AGREES)
        while connection.recv(1000):
            pass

    with (
        by_hand(silent) as url,
        pytest.raises(PortError, match=r"did not confirm the rate 2400 within 0\.1 s"),
    ):
        Rfc2217Port(url, Link(), answer_s=0.1)


@pytest.mark.parametrize("answer", [b"", b"0280: A9\r", option(DONT, 44), AGREES[:6] + option(WONT, 0)])
def test_a_server_of_another_kind_is_told_and_the_other_form_shown(answer: bytes) -> None:
    def serve(connection: socket.socket) -> None:
        connection.sendall(answer)
        while connection.recv(1000):
            pass

    with by_hand(serve) as url, pytest.raises(PortError, match=r"does not speak RFC 2217.*use socket://127"):
        Rfc2217Port(url, Link(), answer_s=0.1)


def test_a_server_that_breaks_off_while_opening_is_an_error_of_opening() -> None:
    def serve(connection: socket.socket) -> None:
        connection.recv(1000)

    with by_hand(serve) as url, pytest.raises(PortError, match=r"closed the connection|broke the connection"):
        Rfc2217Port(url, Link())


def test_options_nobody_asked_for_are_refused_once_and_offers_of_the_port_are_taken() -> None:
    """RFC 854: an option not wanted is answered with WON'T or DON'T; a refusal gets no answer."""
    heard: list[bytes] = []
    opening = option(WILL, 1) + option(DO, 24) + option(WILL, 44) + option(WONT, 5)
    opening += option(DO, 0) + option(WILL, 0)
    with by_hand(lambda connection: confirming(connection, opening=opening, heard=heard)) as url:
        Rfc2217Port(url, Link()).close()
    came = b"".join(heard)
    assert came.count(option(DONT, 1)) == 1 and came.count(option(WONT, 24)) == 1
    assert came.count(option(DO, 44)) == 1
    assert option(DONT, 5) not in came and option(WONT, 5) not in came


def test_suspend_holds_the_keys_and_resume_lets_them_go() -> None:
    """RFC 2217: FLOWCONTROL-SUSPEND is 108 from the server, FLOWCONTROL-RESUME 109."""
    order: list[str] = []
    connections: list[socket.socket] = []

    def serve(connection: socket.socket) -> None:
        connections.append(connection)
        confirming(connection)

    def resume() -> None:
        order.append("resume")
        connections[0].sendall(b"R" + advice(44, b"\x6d"))

    with by_hand(serve) as url:
        port = Rfc2217Port(url, Link())
        connections[0].sendall(advice(44, b"\x6c") + b"S")
        assert read_all(port, 1) == b"S"
        later = threading.Timer(0.05, resume)
        later.start()
        port.write(b"A")
        order.append("written")
        assert read_all(port, 1) == b"R"
        later.join()
        port.close()
    assert order == ["resume", "written"]


def test_a_server_that_holds_for_ever_is_lost() -> None:
    def serve(connection: socket.socket) -> None:
        confirming(connection, opening=AGREES + advice(44, b"\x6c"))

    with by_hand(serve) as url:
        port = Rfc2217Port(url, Link(), write_s=0.05)
        with pytest.raises(PortLost, match=r"has held the line for 0\.05 s"):
            port.write(b"A")
        port.close()
