"""Boards served by a process of their own, over real pseudo-terminals and TCP, in real time."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial

from formats.errors import FormatError
from linktool.board import open_board
from linktool.board.serve import Order, Service, serve, serve_many
from linktool.errors import LinktoolError, UsageError
from linktool.tcp_port import TcpPort

SCRIPT = """
import sys
from linktool.board.serve import serve
serve(sys.argv[1], sys.argv[2], sys.argv[3] or None, lambda line: print(line, flush=True))
"""
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and SIGTERM are POSIX")


@contextmanager
def served(board: str, where: str, memory_out: str = "") -> Iterator[tuple[subprocess.Popen[str], str]]:
    process = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, board, where, memory_out], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        first = process.stdout.readline()
        assert first.startswith("port: "), first
        yield process, first.removeprefix("port: ").strip()
    finally:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=20)


def type_program(port: serial.SerialBase, text: bytes) -> bytes:
    heard = b""
    for key in text:
        port.write(bytes([key]))
        heard += port.read(1)
    return heard


@POSIX
@pytest.mark.parametrize(("where", "number"), [("pty", signal.SIGTERM), ("tcp:127.0.0.1:0", signal.SIGINT)])
def test_a_program_is_entered_and_run_and_the_memory_saved(tmp_path: Path, where: str, number: int) -> None:
    saved = tmp_path / "memory.bin"
    with served("board:rate=9600,display=400", where, str(saved)) as (process, name):
        assert name.startswith("/dev/" if where == "pty" else "socket://127.0.0.1:")
        with serial.serial_for_url(name, timeout=2) as port:
            type_program(port, b"\x1b")
            port.timeout = 0.3
            port.read(10)
            port.timeout = 2
            assert type_program(port, b"300:A9 2A 20 F1 FF 4C D FF\r") == b"300:A9 2A 20 F1 FF 4C D FF\r"
            assert port.read(1) == b"="
        if where != "pty":
            time.sleep(0.1)
        with serial.serial_for_url(name, timeout=2) as port:
            type_program(port, b"\x1b")
            port.timeout = 0.3
            port.read(10)
            port.timeout = 2
            assert type_program(port, b"300G\r") == b"300G\r"
            assert port.read(3) == b"*\r="
        process.send_signal(number)
        assert process.wait(10) == 0
    memory = saved.read_bytes()
    assert len(memory) == 0x10000
    assert memory[0x0300:0x0308] == bytes.fromhex("A9 2A 20 F1 FF 4C 0D FF")
    assert memory[0xFFFC:0xFFFE] == b"\x0d\xff"
    assert os.listdir(tmp_path) == ["memory.bin"]


@POSIX
def test_a_board_that_waits_sleeps() -> None:
    def cpu_s(process: subprocess.Popen[str]) -> float:
        fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    if not Path("/proc/self/stat").exists():
        pytest.skip("this system has no /proc")
    with served("board:", "pty") as (process, _):
        time.sleep(0.5)
        before = cpu_s(process)
        time.sleep(1.0)
        assert cpu_s(process) - before <= 0.02


@POSIX
def test_a_link_that_is_cut_hangs_up() -> None:
    with served("board:fault=cut-at:1", "pty") as (process, name):
        with serial.Serial(name, timeout=5) as port:
            port.write(b"A")
            with pytest.raises(serial.SerialException):
                while port.read(1):
                    pass
        assert process.poll() is None


def test_many_boards_share_a_thread_and_a_port_may_come_and_go() -> None:
    service = Service()
    names = [service.add(open_board("board:display=400,rate=9600"), "tcp:127.0.0.1:0") for _ in range(8)]
    thread = threading.Thread(target=service.run)
    thread.start()
    try:
        for _ in range(2):
            ports = [TcpPort(name) for name in names]
            for number, port in enumerate(ports):
                port.write(b"\x1b%d" % number)
            deadline = time.monotonic() + 10
            heard = [b""] * len(ports)
            while any(not text.endswith(b"=%d" % n) for n, text in enumerate(heard)):
                assert time.monotonic() < deadline, heard
                for number, port in enumerate(ports):
                    heard[number] += port.read(port.now() + 0.01)
            for port in ports:
                port.close()
    finally:
        service.stop()
        thread.join(10)
        service.close()
    assert not thread.is_alive()


def stopped_at_once(orders: list[Order], **options: bool) -> list[str]:
    """What is announced when the service is told to stop as soon as it runs."""
    lines: list[str] = []

    def announce(line: str) -> None:
        lines.append(line)
        os.kill(os.getpid(), signal.SIGINT)

    serve_many(orders, announce, **options)
    return lines


@POSIX
def test_other_computers_are_let_in_only_when_asked_and_a_caution_is_given() -> None:
    with pytest.raises(UsageError, match="every computer that can reach this one"):
        serve("board:", "tcp:0.0.0.0:0", None, lambda line: None)
    port, caution = stopped_at_once([Order("board:", "tcp:0.0.0.0:0")], allow_remote=True)
    assert port.startswith("port: socket://0.0.0.0:")
    assert caution.startswith("caution: every computer")


@POSIX
def test_the_handlers_of_before_come_back() -> None:
    before = signal.getsignal(signal.SIGINT)
    assert len(stopped_at_once([Order(), Order("board:machine=dot", "tcp:127.0.0.1:0")])) == 2
    assert signal.getsignal(signal.SIGINT) is before


@POSIX
def test_a_memory_file_that_is_there_is_left_alone(tmp_path: Path) -> None:
    there = tmp_path / "memory.bin"
    there.write_bytes(b"mine")
    with pytest.raises(UsageError, match=r"memory\.bin is there already.*--overwrite"):
        serve("board:", "pty", str(there), lambda line: None)
    assert there.read_bytes() == b"mine"
    stopped_at_once([Order("board:", "pty", str(there))], overwrite=True)
    assert there.stat().st_size == 0x10000


@POSIX
def test_a_memory_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises((FormatError, LinktoolError)):
        stopped_at_once([Order("board:", "pty", str(tmp_path / "no such folder" / "memory.bin"))])


def test_a_wrong_board_is_told_before_anything_is_announced() -> None:
    lines: list[str] = []
    with pytest.raises(UsageError, match="no option is called"):
        serve("board:machin=dot", "tcp:127.0.0.1:0", None, lines.append)
    assert lines == []
