"""How soon the shell is there: `python -m tests.benchmarks.shell_prompt`. Run by hand, on a POSIX system.

Real time on a pseudo-terminal: from the start of the process to the first prompt (asked: under 400 ms), and
from a key struck while a transfer runs to its echo, which the terminal itself gives.
"""

from __future__ import annotations

import fcntl
import os
import select
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
TIMES = 7


class Session:
    """The shell on a pseudo-terminal of 80 columns that says where its cursor is."""

    def __init__(self, folder: str, port: str = "board:") -> None:
        self.master, slave = os.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        environment = {**os.environ, "LINKTOOL_FOLDER": folder, "TERM": "xterm", "PYTHONPATH": str(ROOT)}
        words = [sys.executable, "-m", "linktool", "--port", port, "--machine", "heron"]
        self.began = time.perf_counter()
        self.process = subprocess.Popen(
            words,
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=environment,
            cwd=folder,
            start_new_session=True,
        )
        os.close(slave)
        self.seen = b""

    def until(self, text: bytes, most_s: float = 20.0) -> float:
        """Seconds since the start at which `text` has come."""
        end = time.perf_counter() + most_s
        while text not in self.seen:
            if time.perf_counter() > end:
                raise TimeoutError(f"{text!r} did not come; there is {self.seen[-300:]!r}")
            if select.select([self.master], [], [], 0.05)[0]:
                data = os.read(self.master, 65536)
                self.seen += data
                if b"\x1b[6n" in data:
                    os.write(self.master, b"\x1b[1;1R")
        return time.perf_counter() - self.began

    def type(self, text: str) -> None:
        self.seen = b""
        os.write(self.master, text.encode())

    def close(self) -> None:
        os.close(self.master)
        self.process.terminate()
        self.process.wait()


def first_prompt(folder: str) -> list[float]:
    found = []
    for _ in range(TIMES):
        session = Session(folder)
        found.append(session.until(b"not connected>"))
        session.close()
    return found


def echo_during_a_transfer(folder: str) -> list[float]:
    """A board in another process, in real time; keys struck while 4 KiB go in."""
    (Path(folder) / "large.bin").write_bytes(bytes(4096))
    words = [sys.executable, "-m", "linktool", "board", "--serve", "tcp:127.0.0.1:0"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=ROOT) as board:
        assert board.stdout is not None
        session = Session(folder, board.stdout.readline().partition("port: ")[2].strip())
        session.until(b"not connected>")
        session.type("enter large.bin --at 1000\r")
        session.until(b"/4,096 bytes")
        found = []
        for key in "@" * 20:  # the status line has none
            session.seen = b""
            struck = time.perf_counter()
            session.type(key)
            session.until(key.encode())
            found.append(time.perf_counter() - struck)
            time.sleep(0.13)
        session.process.send_signal(signal.SIGINT)
        session.until(b"Stopped")
        session.close()
        board.terminate()
    return found


def shown(what: str, seconds: list[float]) -> None:
    middle, worst = statistics.median(seconds), max(seconds)
    print(f"{what:<44} median {1000 * middle:7.1f} ms   slowest {1000 * worst:7.1f} ms")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        shown("first prompt (asked: under 400 ms)", first_prompt(folder))
        shown("echo of a key while a transfer runs", echo_during_a_transfer(folder))
