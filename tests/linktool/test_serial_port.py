"""The serial port over real pseudo-terminals; both ways to read and write where both work."""

from __future__ import annotations

import contextlib
import fcntl
import os
import signal
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from linktool.errors import PortError, PortLost
from linktool.machine import Link
from linktool.port_lock import PortLock
from linktool.serial_port import SerialPort, attached

BOTH_WAYS = pytest.mark.parametrize("by_library", [False, True], ids=["descriptor", "library"])


class Pty:
    """The far side of a pseudo-terminal; the near side stays open, as a simulator keeps it."""

    def __init__(self) -> None:
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        self.name = os.ttyname(self.near)

    def hang_up(self) -> None:
        os.close(self.far)
        self.far = -1

    def close(self) -> None:
        for descriptor in (self.far, self.near):
            if descriptor >= 0:
                os.close(descriptor)


@pytest.fixture
def pty() -> Iterator[Pty]:
    made = Pty()
    yield made
    made.close()


def read_all(port: SerialPort, count: int) -> bytes:
    came, until = b"", port.now() + 5.0
    while len(came) < count and port.now() < until:
        came += port.read(until)
    return came


@BOTH_WAYS
def test_all_codes_pass_both_ways(pty: Pty, by_library: bool) -> None:
    codes = bytes(range(256))
    port = SerialPort(pty.name, Link(), by_library=by_library)
    port.write(codes)
    assert os.read(pty.far, 1000) == codes
    os.write(pty.far, codes)
    assert read_all(port, 256) == codes
    port.close()


@BOTH_WAYS
def test_a_read_gives_what_came_at_once_and_else_waits_its_time(pty: Pty, by_library: bool) -> None:
    port = SerialPort(pty.name, Link(), by_library=by_library)
    os.write(pty.far, b"0280: A9")
    before = port.now()
    assert read_all(port, 8) == b"0280: A9"
    assert port.now() - before < 0.5
    before = port.now()
    assert port.read(before - 1.0) == b""
    assert port.now() - before < 0.05
    assert port.read(before + 0.06) == b""
    assert before + 0.06 <= port.now() < before + 0.5
    port.close()


@BOTH_WAYS
def test_bytes_that_come_while_waiting_end_the_wait(pty: Pty, by_library: bool) -> None:
    port = SerialPort(pty.name, Link(), by_library=by_library)
    later = threading.Timer(0.03, os.write, (pty.far, b"="))
    later.start()
    before = port.now()
    assert port.read(before + 5.0) == b"="
    assert port.now() - before < 1.0
    later.join()
    port.close()


@BOTH_WAYS
def test_a_hang_up_while_reading_is_lost_with_its_cause(pty: Pty, by_library: bool) -> None:
    port = SerialPort(pty.name, Link(), by_library=by_library)
    later = threading.Timer(0.03, pty.hang_up)
    later.start()
    with pytest.raises(PortLost, match=f"{pty.name} is gone.*unplugged"):
        while True:
            port.read(port.now() + 5.0)
    later.join()
    with pytest.raises(PortLost):
        port.read(port.now())
    port.close()


@BOTH_WAYS
def test_a_hang_up_while_writing_is_lost_with_its_cause(pty: Pty, by_library: bool) -> None:
    port = SerialPort(pty.name, Link(), by_library=by_library)
    pty.hang_up()
    with pytest.raises(PortLost, match=f"{pty.name} is gone: Input/output error.*unplugged"):
        port.write(b"A")
    port.close()


def test_bytes_taken_by_another_program_name_both_causes(pty: Pty) -> None:
    """What a second reader does: the system says that bytes wait, and they are gone when asked for."""
    port = SerialPort(pty.name, Link())
    thief = os.open(pty.name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    lost = threading.Event()
    done = threading.Event()

    def steal() -> None:
        while not done.is_set():
            os.write(pty.far, b"x")
            with contextlib.suppress(BlockingIOError):
                os.read(thief, 100)

    stealing = threading.Thread(target=steal)
    stealing.start()
    try:
        until = time.monotonic() + 60.0  # who comes first is left to chance: it takes as long as it takes
        while time.monotonic() < until:
            try:
                port.read(port.now() + 0.01)
            except PortLost as error:
                assert "unplugged, or another program reads the same port" in str(error)
                lost.set()
                break
    finally:
        done.set()
        stealing.join()
        os.close(thief)
        port.close()
    assert lost.is_set(), "the other reader never came first"


@BOTH_WAYS
def test_a_line_that_nobody_takes_is_given_up_without_burning_time(pty: Pty, by_library: bool) -> None:
    port = SerialPort(pty.name, Link(), by_library=by_library, write_s=0.15)
    before, used = time.monotonic(), time.process_time()
    with pytest.raises(PortLost, match=r"no key was taken for 0\.15 s.*Flow control"):
        port.write(bytes(200_000))
    spent = time.monotonic() - before
    assert spent < 10.0
    if not by_library:
        assert time.process_time() - used < spent / 2
    port.close()


@pytest.mark.parametrize("frame", ["7E1", "7O1", "7N2", "7N1"])
def test_seven_bit_frames_work_on_a_pseudo_terminal_and_again(pty: Pty, frame: str) -> None:
    """A pseudo-terminal knows eight bits only, and refuses others the second time it is opened (measured)."""
    for _ in range(2):
        port = SerialPort(pty.name, Link(frame=frame))
        port.write(b"\xc1B")
        assert os.read(pty.far, 10) == b"AB"
        os.write(pty.far, b"\xb0\x8d")
        assert read_all(port, 2) == b"0\r"
        port.close()


class AsRealDevice(SerialPort):
    """Takes a pseudo-terminal for a device with a frame: one whose driver knows eight bits only."""

    def _is_pseudo_terminal(self) -> bool:
        return False


def test_a_driver_that_knows_eight_bits_only_still_speaks_seven_with_parity(pty: Pty) -> None:
    """It keeps its own frame quietly the first time and refuses the second time (measured on Linux). Ten bits
    are the same either way: CACM 8(9), 1965, 553-556. C is 1000011: three ones, so the parity bit is 1."""
    for _ in range(2):
        port = AsRealDevice(pty.name, Link(frame="7E1"))
        port.write(b"AC")
        assert os.read(pty.far, 10) == b"\x41\xc3"
        os.write(pty.far, b"\x41\xc3")
        assert read_all(port, 2) == b"AC"
        port.close()


def test_a_frame_that_cannot_be_made_is_refused_each_time(pty: Pty) -> None:
    for _ in range(2):
        with pytest.raises(PortError, match=r"does not take the frame 8E1 \(at the rate 2400\)"):
            AsRealDevice(pty.name, Link(frame="8E1"))
    SerialPort(pty.name, Link()).close()


def test_rate_and_flow_reach_the_system(pty: Pty) -> None:
    port = SerialPort(pty.name, Link(rate=2400, flow="rtscts"))
    flags = termios.tcgetattr(pty.near)
    assert (flags[4], flags[5]) == (termios.B2400, termios.B2400)
    assert flags[2] & termios.CRTSCTS
    port.close()
    port = SerialPort(pty.name, Link(rate=9600, flow="xonxoff"))
    flags = termios.tcgetattr(pty.near)
    assert flags[4] == termios.B9600
    assert flags[0] & termios.IXON and flags[0] & termios.IXOFF and not flags[2] & termios.CRTSCTS
    port.close()


def test_lines_that_a_port_does_not_have_do_not_keep_it_from_opening(pty: Pty) -> None:
    port = SerialPort(pty.name, Link(dtr=False, rts=False))
    port.write(b"A")
    assert os.read(pty.far, 10) == b"A"
    port.close()


def test_the_adapter_is_given_time_to_settle(pty: Pty) -> None:
    slept: list[float] = []
    SerialPort(pty.name, Link(settle_s=2.5), sleep=slept.append).close()
    SerialPort(pty.name, Link(), sleep=slept.append).close()
    assert slept == [2.5]


def test_an_interrupt_while_settling_closes_the_device(pty: Pty) -> None:
    def interrupted(seconds: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        SerialPort(pty.name, Link(settle_s=1.0), sleep=interrupted)
    SerialPort(pty.name, Link()).close()  # it would be busy if it were still open


def test_a_port_that_another_program_holds_is_busy_and_says_who(pty: Pty) -> None:
    program = (
        "import fcntl, sys, time; f = open(sys.argv[1], 'rb+', buffering=0); "
        "fcntl.flock(f, fcntl.LOCK_EX); print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", program, pty.name], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None and other.stdout.readline() == b"held\n"
        try:
            with pytest.raises(
                PortError, match=rf"{pty.name} is in use by another program.*process {other.pid}"
            ):
                SerialPort(pty.name, Link())
        finally:
            other.send_signal(signal.SIGKILL)
    SerialPort(pty.name, Link()).close()


def test_two_in_one_process_are_refused(pty: Pty) -> None:
    port = SerialPort(pty.name, Link())
    with pytest.raises(PortError, match="in use"):
        SerialPort(pty.name, Link())
    port.close()


@pytest.mark.parametrize("name", ["/dev/null", "/tmp", __file__])
def test_what_is_no_serial_port_is_refused(name: str) -> None:
    with pytest.raises(PortError, match=f"{name} is not a serial port"):
        SerialPort(name, Link())


def test_a_missing_port_is_named_and_the_others_listed() -> None:
    with pytest.raises(
        PortError, match=r"/dev/ttyHERON9: there is no such port\. (Ports that are|No serial port)"
    ):
        SerialPort("/dev/ttyHERON9", Link())


def test_closing_twice_is_safe_and_the_port_is_then_closed(pty: Pty, tmp_path: Path) -> None:
    port = SerialPort(pty.name, Link(), lock=PortLock.take(pty.name, folder=tmp_path))
    port.close()
    port.close()
    # The number of its descriptor now belongs to another file, which must not be touched.
    other = os.open(__file__, os.O_RDONLY)
    for use in (lambda: port.read(port.now()), lambda: port.write(b"A")):
        with pytest.raises(PortLost, match="the port is closed"):
            use()
    assert os.lseek(other, 0, os.SEEK_CUR) == 0
    os.close(other)
    PortLock.take(pty.name, folder=tmp_path).release()


def test_a_client_may_come_back_again_and_again(pty: Pty) -> None:
    for turn in range(3):
        port = SerialPort(pty.name, Link())
        port.write(b"%d" % turn)
        assert os.read(pty.far, 10) == b"%d" % turn
        port.close()


def test_descriptor_is_there_only_where_the_system_can_wait_for_it(pty: Pty) -> None:
    port = SerialPort(pty.name, Link())
    assert os.ttyname(port.fileno() or -1) == pty.name
    port.close()
    port = SerialPort(pty.name, Link(), by_library=True)
    assert port.fileno() is None and port.real_time
    port.close()


def test_the_device_is_locked_against_other_careful_programs(pty: Pty) -> None:
    port = SerialPort(pty.name, Link())
    other = os.open(pty.name, os.O_RDWR | os.O_NOCTTY)
    with pytest.raises(BlockingIOError):
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    port.close()
    fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(other)


def test_the_list_of_ports_can_be_asked_for() -> None:
    ports = attached()
    assert [port.device for port in ports] == list(dict.fromkeys(port.device for port in ports))
    assert all(port.device and "n/a" not in (port.device, port.description) for port in ports)


def test_the_library_is_imported_only_when_a_port_is_opened() -> None:
    program = "import sys, linktool.ports, linktool.driver; print('serial' in sys.modules)"
    result = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert result.stdout == "False\n"
