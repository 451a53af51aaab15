"""Names of ports: which kind they mean, what is refused, and that each opens the right port."""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
import tty
from pathlib import Path

import pytest

from linktool.driver import drive
from linktool.errors import PortError, UsageError
from linktool.machine import Link
from linktool.ports import BOARD_EXAMPLE, list_ports, open_port, port_kind
from linktool.serial_port import SerialPort
from linktool.tcp_port import TcpPort
from linktool.trace import Entry
from tests.linktool.test_driver import EchoServer, echoes


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("board:", "board"),
        ("board:machine=dot", "board"),
        ("socket://127.0.0.1:4000", "socket"),
        ("SOCKET://bench:4000", "socket"),
        ("rfc2217://bench:4000", "rfc2217"),
        ("/dev/ttyUSB0", "device"),
        ("./pty", "device"),
    ],
)
def test_each_form_means_one_kind(name: str, kind: str) -> None:
    assert port_kind(name) == kind


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("", "the port name is empty"),
        ("  ", "the port name is empty"),
        ("socket://bench", "has no port number"),
        ("sockt://bench:4000", "sockt://, which is not known. Did you mean socket://"),
        ("http://bench:4000", "http://, which is not known. Forms: "),
        ("/dev/tty\x00", "control characters"),
        ("heron", "'heron' is no port name. Forms: "),
    ],
)
def test_what_is_no_name_is_refused_with_the_forms(name: str, found: str) -> None:
    with pytest.raises(UsageError) as refused:
        port_kind(name)
    assert found in str(refused.value) and "socket://HOST:PORT" in str(refused.value)
    assert refused.value.exit_status == 2


@pytest.mark.skipif(not os.path.exists("/dev/null"), reason="there is no /dev here")
def test_a_device_without_its_folder_is_recognised() -> None:
    with pytest.raises(UsageError, match="Did you mean /dev/null"):
        port_kind("null")


def test_a_device_opens_and_is_locked_until_it_is_closed(tmp_path: Path) -> None:
    far, near = os.openpty()
    tty.setraw(near)
    name = os.ttyname(near)
    port = open_port(name, Link(), lock_folder=tmp_path)
    assert isinstance(port, SerialPort) and port.name == name
    with pytest.raises(PortError, match=f"{name} is in use by this linktool itself"):
        open_port(name, Link(), lock_folder=tmp_path)
    port.close()
    open_port(name, Link(), lock_folder=tmp_path).close()
    os.close(far)
    os.close(near)


def test_a_port_that_does_not_open_leaves_no_lock(tmp_path: Path) -> None:
    for _ in range(2):
        with pytest.raises(PortError, match="no such port"):
            open_port("/dev/ttyHERON9", Link(), lock_folder=tmp_path)


def test_a_talk_over_tcp_from_name_to_trace(tmp_path: Path) -> None:
    seen: list[Entry] = []
    with EchoServer() as server:
        port = open_port(server.url, Link(frame="7E1"), lock_folder=tmp_path)
        assert isinstance(port, TcpPort)
        port.write(b"\xc1")
        assert port.read(port.now() + 5.0) == b"A"
        assert drive(echoes(b"0280"), port, trace=seen.append) == b"0280"
        port.close()
    assert b"".join(entry.data for entry in seen if entry.event == "out") == b"0280"
    assert b"".join(entry.data for entry in seen if entry.event == "in") == b"0280"


def test_an_rfc2217_name_opens_that_kind(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as free:
        number = free.getsockname()[1]
    with pytest.raises(PortError, match=f"rfc2217://127.0.0.1:{number}: nothing listens"):
        open_port(f"rfc2217://127.0.0.1:{number}", Link(), lock_folder=tmp_path)


def test_the_example_is_kept_apart_from_what_is_attached() -> None:
    assert BOARD_EXAMPLE.device == "board:" and port_kind(BOARD_EXAMPLE.device) == "board"
    assert BOARD_EXAMPLE not in list_ports()


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX's")
def test_an_interrupt_while_the_adapter_settles_leaves_no_lock(tmp_path: Path) -> None:
    far, near = os.openpty()
    tty.setraw(near)
    name = os.ttyname(near)
    # A suite started in the background has SIGINT ignored; here it must be heard.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        interrupt = threading.Timer(0.05, os.kill, (os.getpid(), signal.SIGINT))
        interrupt.start()
        with pytest.raises(KeyboardInterrupt):
            open_port(name, Link(settle_s=20.0), lock_folder=tmp_path)
        interrupt.join()
    finally:
        signal.signal(signal.SIGINT, before)
    open_port(name, Link(), lock_folder=tmp_path).close()
    os.close(far)
    os.close(near)
