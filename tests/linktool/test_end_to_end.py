"""The whole way, in real time, with linktool and the board each in a process of its own: over a real
pseudo-terminal (pyserial's path) and over TCP, and with the cable pulled."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

PROGRAM = "  lda #72\n  jsr char_out\n  lda #73\n  jsr char_out\n  jmp monitor\n"
HI = bytes.fromhex("A948 20F1FF A949 20F1FF 4C0DFF")
"""The program assembled by hand: char_out and monitor at the addresses of the heron profile."""

needs_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


def linktool(*words: str) -> list[str]:
    return [sys.executable, "-m", "linktool", *words]


@contextmanager
def board(folder: Path, where: str, *words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A served board and the name of its port."""
    served = subprocess.Popen(
        linktool("board", "--serve", where, *words), cwd=folder, stdout=subprocess.PIPE, text=True
    )
    assert served.stdout is not None
    try:
        first = served.stdout.readline()
        assert first.startswith("port: ")
        yield served, first.removeprefix("port: ").strip()
    finally:
        served.kill()
        served.wait(10)
        served.stdout.close()


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LINKTOOL_FOLDER", str(tmp_path / "linktool"))
    for name in ("LINKTOOL_PORT", "LINKTOOL_MACHINE"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / "hi.s").write_text(PROGRAM)
    return tmp_path


def run(folder: Path, *words: str) -> tuple[int, dict[str, object]]:
    done = subprocess.run(linktool(*words, "--json"), cwd=folder, capture_output=True, text=True, timeout=60)
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.parametrize("where", [pytest.param("pty", marks=needs_pty), "tcp:127.0.0.1:0"])
def test_enter_read_and_run_with_the_memory_compared(folder, where):
    with board(folder, where, "--memory-out", "memory.bin") as (served, port):
        status, facts = run(
            folder, "enter", "hi.s", "--at", "0280", "--port", port, "--machine", "heron", "--run"
        )
        assert status == 0 and facts["proof"] == "read back", facts
        assert facts["run"] == {**facts["run"], "output": "HI\n=", "back_at_prompt": True}  # type: ignore[dict-item]
        status, facts = run(folder, "read", "0280+D", "--port", port, "--machine", "heron", "-o", "back.bin")
        assert status == 0
        served.send_signal(signal.SIGTERM)
        assert served.wait(10) == 0
    assert (folder / "back.bin").read_bytes() == HI
    memory = (folder / "memory.bin").read_bytes()
    assert len(memory) == 0x10000 and memory[0x0280 : 0x0280 + len(HI)] == HI


@pytest.mark.parametrize("where", [pytest.param("pty", marks=needs_pty), "tcp:127.0.0.1:0"])
def test_a_board_that_goes_away_in_the_middle_is_the_link_s_status(folder, where):
    (folder / "long.bin").write_bytes(bytes(400))
    with board(folder, where) as (served, port):
        entering = subprocess.Popen(
            linktool("enter", "long.bin", "--at", "0280", "--port", port, "--machine", "heron", "--json"),
            cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        time.sleep(2)
        served.kill()
        shown, complaint = entering.communicate(timeout=30)
    assert entering.returncode == 3, complaint
    assert "Traceback" not in complaint
    facts = json.loads(shown)
    assert facts["ok"] is False and facts["lost"] and facts["proven"] == []


@needs_pty
def test_ctrl_c_stops_at_a_safe_point_and_the_next_command_finds_the_prompt(folder):
    (folder / "long.bin").write_bytes(bytes(400))
    with board(folder, "pty") as (_, port):
        entering = subprocess.Popen(
            linktool("enter", "long.bin", "--at", "0280", "--port", port, "--machine", "heron"),
            cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        time.sleep(2)
        entering.send_signal(signal.SIGINT)
        shown, complaint = entering.communicate(timeout=30)
        assert entering.returncode == 130, shown + complaint
        assert "Stopped" in shown and "Traceback" not in complaint
        status, facts = run(folder, "read", "FFFC-FFFD", "--port", port, "--machine", "heron")
        assert status == 0 and facts["lines_retyped"] == 0
