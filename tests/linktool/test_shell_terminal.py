"""The shell in a real terminal: an evening with a board in another process, and a machine gone mad.

tmux is the terminal; what its screen shows is compared. The board runs in real time with a quick display.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
COMMAND = [sys.executable, "-m", "linktool"]
PATIENCE_S = 40.0

needs_tmux = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed (Debian: tmux)")
posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX's")


def surroundings(folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("LINKTOOL_")}
    return {
        **kept, "LINKTOOL_FOLDER": str(folder / "own"), "PYTHONPATH": str(ROOT), "TERM": "xterm-256color"
    }  # fmt: skip


def until(ready: Callable[[], bool], what: str, show: Callable[[], str] = str) -> None:
    end = time.monotonic() + PATIENCE_S
    while not ready():
        assert time.monotonic() < end, f"{what} did not come; there is:\n{show()}"
        time.sleep(0.05)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[str]:
    """A served board; gives the name of its port."""
    words = ["board", "--serve", "tcp:127.0.0.1:0", "--option", "display=400", "--option", "rate=9600"]
    with subprocess.Popen(
        [*COMMAND, *words], env=surroundings(tmp_path), stdout=subprocess.PIPE, text=True, cwd=tmp_path
    ) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().partition("port: ")[2].strip()
        finally:
            process.terminate()


class Pane:
    """One terminal of 60 columns and 24 rows, on a tmux of its own."""

    def __init__(self, folder: Path) -> None:
        self._tmux = ["tmux", "-S", str(folder / "tmux.socket"), "-f", "/dev/null"]
        self._environment = surroundings(folder)
        self._call("new-session", "-d", "-x", "60", "-y", "24", "-c", str(folder), "sh")

    def _call(self, *words: str) -> str:
        done = subprocess.run(
            [*self._tmux, *words], env=self._environment, capture_output=True, text=True, timeout=10
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def type(self, text: str) -> None:
        self._call("send-keys", "-l", text)

    def press(self, key: str) -> None:
        self._call("send-keys", key)

    def line(self, text: str) -> None:
        self.type(text)
        self.press("Enter")

    @property
    def shown(self) -> str:
        return self._call("capture-pane", "-p")

    def expect(self, text: str) -> None:
        until(lambda: text in self.shown, repr(text), lambda: self.shown)

    def clear(self) -> None:
        """An empty screen, so that nothing of before is taken for an answer."""
        self.press("C-l")
        until(lambda: self.shown.count("\n") >= 23, "an empty screen")

    def close(self) -> None:
        subprocess.run([*self._tmux, "kill-server"], capture_output=True, timeout=10)


@pytest.fixture
def pane(tmp_path: Path) -> Iterator[Pane]:
    pane = Pane(tmp_path)
    yield pane
    pane.close()


@needs_tmux
def test_an_evening_at_the_bench(tmp_path: Path, board: str, pane: Pane):
    (tmp_path / "small.txt").write_text("0280: A9 00 8D 00 03 4C 00 FF\n")
    (tmp_path / "large.bin").write_bytes(bytes(range(240)))
    pane.line(" ".join([*COMMAND, "--port", board, "--machine", "heron", "; echo status $?"]))
    pane.expect("heron, not connected>")
    pane.expect("| machine heron | no image")

    # Ctrl-C in the middle of a line: the line is cancelled, what was typed meanwhile was echoed.
    pane.line("enter large.bin --at 1000")
    pane.expect("/240 bytes")
    pane.type("help ru")
    pane.expect("\nhelp ru")
    assert "/240 bytes" in pane.shown, "the status line stands above"
    pane.press("C-c")
    pane.expect("Stopped. Of 240 bytes at 1000-10EF")
    pane.expect("The line was cancelled, the monitor is at its prompt")
    pane.expect(f"heron on {board}>")
    assert "/240 bytes" not in pane.shown, "the status line is taken away"

    pane.line("resume")
    pane.expect("Proven: 240 bytes at 1000-10EF (")
    pane.expect("image large.bin 1000-10EF (240 bytes) | proven")

    pane.line("enter small.txt")
    pane.expect("Proven: 8 bytes at 0280-0287 (every byte read back).")
    pane.expect("image small.txt 0280-0287 (8 bytes) | proven")
    pane.clear()
    pane.line("check")
    pane.expect("Proven: 8 bytes at 0280-0287 (every byte read back).")
    pane.line("run --watch 1")
    pane.expect("Started at 0280")
    pane.expect(", then run")

    pane.line("talk")
    pane.expect("CTRL-] leaves")
    pane.line("0280-0287")
    pane.expect("0280: A9 00 8D 00 03 4C 00 FF\n=")
    pane.press("C-]")
    pane.expect("Left the talk: 10 keys struck")

    pane.type("chec")
    pane.press("Tab")
    pane.expect("> check")
    pane.press("C-c")
    pane.line("quit")
    pane.expect("\nstatus 0")


@needs_tmux
def test_what_is_typed_while_a_job_runs_is_there_at_the_next_prompt(tmp_path: Path, board: str, pane: Pane):
    (tmp_path / "some.bin").write_bytes(bytes(350))
    pane.line(" ".join([*COMMAND, "--port", board, "--machine", "heron"]))
    pane.expect("heron, not connected>")
    pane.line("enter some.bin --at 1000 --no-check --via typed")
    pane.expect("/350 bytes")
    pane.type("image")
    pane.expect("Sent, not verified: 350 bytes")
    pane.expect("> image")
    pane.press("Enter")
    pane.expect("starts at 1000")


MAD = b"\x1b[2J\x1b]0;title\x07\x1b[31m\x9b5n\x1b[6n\x1bc\x05\x08\x0e\x0f\x7f\xff"


@posix
def test_a_machine_gone_mad_does_nothing_to_the_terminal_and_freezes_nothing(tmp_path: Path):
    """It sends control characters and escape sequences, a megabyte of them and more, as fast as it can."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        stop = threading.Event()

        def rage() -> None:
            client, _ = server.accept()
            with client:
                try:
                    while not stop.is_set():
                        client.sendall(MAD * 3000)
                except OSError:
                    return

        thread = threading.Thread(target=rage, daemon=True)
        thread.start()
        port = f"socket://127.0.0.1:{server.getsockname()[1]}"
        master, slave = os.openpty()
        kept = tmp_path / "kept.txt"
        with subprocess.Popen(
            [*COMMAND, "talk", "--port", port, "--machine", "heron", "-o", str(kept)],
            stdin=slave, stdout=slave, stderr=slave, env=surroundings(tmp_path), start_new_session=True,
        ) as process:  # fmt: skip
            os.close(slave)
            shown = bytearray()

            def drain() -> None:
                try:
                    while data := os.read(master, 65536):
                        shown.extend(data)
                except OSError:
                    return

            reader = threading.Thread(target=drain, daemon=True)
            reader.start()
            until(
                lambda: kept.exists() and kept.stat().st_size > 1 << 20,
                "a megabyte",
                lambda: repr(shown[-300:]),
            )
            asked = time.monotonic()
            os.write(master, b"\x1d")
            process.wait(timeout=PATIENCE_S)
            assert time.monotonic() - asked < 5.0, "the leave key was heeded late"
            stop.set()
            reader.join(5)
        os.close(master)
        thread.join(5)
    assert process.returncode == 0
    assert b"Left the talk" in shown and b"characters not shown" in shown
    assert set(shown) <= {*range(0x20, 0x7F), 0x0A, 0x0D}, "only plain characters reached the terminal"


def test_a_piped_script_stops_at_the_first_failure_with_its_status(tmp_path: Path):
    (tmp_path / "small.txt").write_text("0280: A9 00 8D 00 03 4C 00 FF\n")
    script = (
        "# one board\nport board:\nenter small.txt\nread 0280-0287 --json\ncheck small.txt --at 300\nrun\n"
    )
    done = subprocess.run(
        COMMAND,
        input=script,
        cwd=tmp_path,
        env=surroundings(tmp_path),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 1
    assert '"bytes": "A9008D00034C00FF"' in done.stdout and "Started" not in done.stdout
    assert "stopped at line 5: check small.txt --at 300" in done.stderr
    assert "\x1b" not in done.stdout + done.stderr
