"""A file of 1 GB is refused early: fast, with little memory, in plain words. Sparse files, real processes."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

LARGE = 1 << 30
MOST_MB = 120
"""Peak memory of the process. Reading a hundredth of the file more would show."""
LONGEST_S = 25.0

MEASURED = """
import re, sys
from linktool.cli import main
status = main(sys.argv[1:])
print("PEAK", re.search("VmHWM:[^0-9]*([0-9]+) kB", open("/proc/self/status").read())[1], file=sys.stderr)
sys.exit(status)
"""
"""The peak since the program was loaded; getrusage would count the process it was started from as well."""

READERS = {
    "image.hex": ["plan", "image.hex", "--machine", "heron"],
    "image.s19": ["check", "image.s19", "--port", "board:"],
    "image.bin": ["enter", "image.bin", "--at", "0", "--port", "board:"],
    "image.txt": ["convert", "image.txt", "out.hex"],
    "source.s": ["sheet", "source.s", "--machine", "heron"],
    "unknown": ["plan", "unknown", "--machine", "heron"],
    "profile.toml": ["machines", "profile.toml"],
    "bench.toml": ["check", "small.txt", "--bench", "bench.toml"],
    "text.txt": ["type", "text.txt", "--port", "board:"],
    "talk.jsonl": ["trace", "show", "talk.jsonl"],
    "survey.json": ["survey", "--compare", "survey.json", "--port", "board:"],
    "rom.bin": ["survey", "--rom", "rom.bin", "--at", "FF00", "--port", "board:"],
    "own.s": ["programs", "add", "own.s", "--title", "x", "--question", "x", "--ends", "reset"],
}
OWN_FILES = {
    "config/settings.toml": ["enter", "small.txt"],
    "config/machines/large.toml": ["machines", "large"],
    "data/programs/large/program.toml": ["programs", "show", "large"],
}


def large(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.truncate(LARGE)


def measured(folder: Path, words: list[str], status: int = 2) -> str:
    """What the command complains of."""
    (folder / "small.txt").write_text("0280: A9\n")
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, *words],
        cwd=folder,
        env={"LINKTOOL_FOLDER": str(folder / "linktool"), "PATH": "", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    complaint, _, peak = done.stderr.rpartition("PEAK")
    assert done.returncode == status, done.stderr
    assert "Traceback" not in complaint
    assert int(peak) // 1024 < MOST_MB, f"{int(peak) // 1024} MB"
    assert time.monotonic() - began < LONGEST_S
    return done.stdout + complaint


ROOT = Path(__file__).parent.parent.parent
needs_proc = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system has no /proc")


@needs_proc
@pytest.mark.parametrize("name", READERS)
def test_a_file_of_1_gb_is_refused_early(tmp_path: Path, name: str):
    large(tmp_path / name)
    assert "linktool: " in measured(tmp_path, READERS[name])


@needs_proc
@pytest.mark.parametrize("name", OWN_FILES)
def test_so_is_one_in_the_user_s_own_folders(tmp_path: Path, name: str):
    large(tmp_path / "linktool" / name)
    assert "linktool: " in measured(tmp_path, OWN_FILES[name])


@needs_proc
def test_a_bench_log_of_1_gb_is_read_from_its_end(tmp_path: Path):
    large(tmp_path / "linktool" / "state" / "bench-log.jsonl")
    measured(tmp_path, ["log"], status=0)
