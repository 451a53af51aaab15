"""resume of an entry on the simulated board: after a stop, a lost link, a reset, a power failure, kill -9."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from random import Random

import pytest

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.enter import enter
from linktool.jobs.resume import resume_entry

HERON = profiles.load("heron")
IMAGE = Image.from_bytes(0x1000, Random(3).randbytes(400))
SIZE = 120


def in_memory(board: Board, image: Image) -> bool:
    return all(board.memory(segment.first, segment.last) == segment.data for segment in image.segments)


def claimed(report_typed: tuple[Range, ...]) -> Image:
    return Image.from_cells((a, v) for a, v in IMAGE.cells() if any(a in each for each in report_typed))


def test_what_is_typed_already_is_not_typed_again():
    board = Board(HERON)
    begun = drive(enter(Conversation(HERON), IMAGE, "board:"), board, stop=lambda: int(board.now() > 12))
    part = claimed(begun.typed)
    assert begun.stopped and 100 < len(part) < 400
    report = drive(resume_entry(Conversation(HERON), IMAGE, part, "board:"), board)
    assert report.ok and report.proof == "read back"
    assert report.proven == (Range(0x1000, 0x118F),) and in_memory(board, IMAGE)
    whole = drive(enter(Conversation(HERON), IMAGE, "board:"), Board(HERON))
    assert report.effort.keystrokes < whole.effort.keystrokes - 2.5 * len(part)


@pytest.mark.parametrize("at_s", [6, 10, 14, 18])
def test_a_lost_link_at_any_moment_is_gone_on_from(at_s):
    board = Board(HERON, faults=(f"cut-at:{at_s}s",), seed=at_s)
    begun = drive(enter(Conversation(HERON), IMAGE, "board:"), board)
    assert begun.lost
    board.restore()
    report = drive(resume_entry(Conversation(HERON), IMAGE, claimed(begun.typed), "board:"), board)
    assert report.ok and in_memory(board, IMAGE)


def test_a_machine_that_lost_its_power_is_not_believed():
    board = Board(HERON, seed=9)
    report = drive(
        resume_entry(Conversation(HERON), IMAGE, IMAGE.slice(Range(0x1000, 0x10FF)), "board:"), board
    )
    assert report.ok and in_memory(board, IMAGE)
    assert any("not in memory any more" in remark for remark in report.remarks)


def test_one_byte_that_changed_in_between_is_mended():
    board = Board(HERON)
    part = IMAGE.slice(Range(0x1000, 0x10FF))
    board.poke(0x1000, part.segments[0].data)
    board.poke(0x1080, bytes([part.get(0x1080) ^ 0xFF]))
    report = drive(resume_entry(Conversation(HERON), IMAGE, part, "board:"), board)
    assert report.ok and in_memory(board, IMAGE)


def test_claiming_nothing_types_all_and_a_bad_chip_is_told():
    board = Board(HERON, faults=("stuck:1010:0:1", "stuck:1010:1:0"))
    report = drive(resume_entry(Conversation(HERON), IMAGE, Image(), "board:"), board)
    assert report.exit_status == 1 and [finding.address for finding in report.differences] == [0x1010]


def test_stopped_again_it_says_what_is_typed_now():
    board = Board(HERON)
    board.poke(0x1000, IMAGE.segments[0].data[:100])
    part = IMAGE.slice(Range(0x1000, 0x1063))
    report = drive(
        resume_entry(Conversation(HERON), IMAGE, part, "board:"), board, stop=lambda: int(board.now() > 14)
    )
    assert report.stopped and report.typed[0].first == 0x1000 and len(report.typed[0]) > 100
    assert report.exit_status == 130


def test_an_image_without_a_part_of_it():
    image = Image.from_bytes(0x1000, bytes(10))
    assert image.minus(Image.from_cells([(0x1003, 0), (0x1009, 0)])).segments[0].range == Range(
        0x1000, 0x1002
    )
    assert image.minus(image) == Image()


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
def test_after_kill_9_resume_goes_on_from_what_is_typed(tmp_path: Path):
    """Real time, three processes: a served board, an entry that is killed, and resume."""
    environment = {**os.environ, "LINKTOOL_FOLDER": str(tmp_path / "own")}
    (tmp_path / "program.bin").write_bytes(Random(3).randbytes(SIZE))

    def linktool(*words: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-m", "linktool", *words],
            cwd=tmp_path,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    served = linktool(
        "board", "--serve", "tcp:127.0.0.1:0", "--option", "display=300", "--memory-out", "memory.bin"
    )
    try:
        assert served.stdout is not None
        port = served.stdout.readline().removeprefix("port: ").strip()
        common = ("--port", port, "--machine", "heron")
        entering = linktool("enter", "program.bin", "--at", "1000", "--via", "typed", *common)
        folder, end = tmp_path / "own" / "state" / "unfinished", time.monotonic() + 20
        typed = 0
        while time.monotonic() < end and typed < 24:
            time.sleep(0.05)
            for file in folder.glob("*-entry.json"):
                typed = json.loads(file.read_text())["typed"]
        entering.send_signal(signal.SIGKILL)
        entering.communicate(timeout=10)
        assert 24 <= typed <= SIZE
        resumed = linktool("resume", "--json", *common)
        out, _ = resumed.communicate(timeout=60)
        report = json.loads(out)
        assert resumed.returncode == 0 and report["ok"], out
        assert report["keystrokes"] < 3 * SIZE, "what was typed before was not typed again"
        assert not list(folder.glob("*.json"))
    finally:
        served.send_signal(signal.SIGTERM)
        served.wait(10)
        if served.stdout:
            served.stdout.close()
    memory = (tmp_path / "memory.bin").read_bytes()
    assert memory[0x1000 : 0x1000 + SIZE] == (tmp_path / "program.bin").read_bytes()
