"""Two linktools at one pseudo-terminal: the second is told who has it, and sends nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import pytest

from tests.linktool.test_end_to_end import board, folder, linktool, run

__all__ = ["folder"]
pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


@pytest.fixture
def long_entry(folder: Path) -> Path:
    (folder / "long.bin").write_bytes(bytes(600))
    return folder


def entering(folder: Path, port: str) -> subprocess.Popen[str]:
    """A linktool that is well under way."""
    words = ["enter", "long.bin", "--at", "0280", "--port", port, "--machine", "heron", "--via", "typed"]
    first = subprocess.Popen(
        linktool(*words, "--trace", "first.jsonl"),
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    end = time.monotonic() + 20
    while '"out"' not in (folder / "first.jsonl").read_text() if (folder / "first.jsonl").exists() else True:
        assert first.poll() is None and time.monotonic() < end
        time.sleep(0.05)
    return first


def test_the_second_is_told_who_has_the_port_and_sends_nothing(long_entry):
    with board(long_entry, "pty") as (_, port):
        first = entering(long_entry, port)
        try:
            words = ["read", "0280", "--port", port, "--machine", "heron", "--trace", "second.jsonl"]
            second = subprocess.run(
                linktool(*words), cwd=long_entry, capture_output=True, text=True, timeout=30
            )
            alias = long_entry / "alias"
            alias.symlink_to(port)
            words[3] = str(alias)
            by_alias = subprocess.run(
                linktool(*words), cwd=long_entry, capture_output=True, text=True, timeout=30
            )
        finally:
            first.send_signal(signal.SIGINT)
            shown, complaint = first.communicate(timeout=30)
        assert second.returncode == 3 and by_alias.returncode == 3
        assert f"{port} is in use by another linktool, process {first.pid}" in second.stderr
        assert "enter long.bin" in second.stderr and "Traceback" not in second.stderr
        assert "in use by another linktool" in by_alias.stderr
        assert not (long_entry / "second.jsonl").exists()
        assert first.returncode == 130 and "Stopped" in shown, complaint
        status, _ = run(long_entry, "read", "FFFC-FFFD", "--port", port, "--machine", "heron")
        assert status == 0


def test_one_that_was_killed_leaves_the_port_free_and_the_machine_is_found_again(long_entry):
    with board(long_entry, "pty") as (_, port):
        first = entering(long_entry, port)
        first.kill()
        first.communicate(timeout=30)
        status, facts = run(long_entry, "read", "FFFC-FFFD", "--port", port, "--machine", "heron")
        assert status == 0, facts
        status, facts = run(long_entry, "resume", "--port", port, "--machine", "heron", "--drop")
        assert status == 0, facts
