"""Many boards at once, in real time: `python -m tests.benchmarks.many [--boards 1,8,64] [--bytes 448]`.

Simulated boards, each at 60 characters a second, served on loopback TCP by a process of their own; one
linktool enters the same image into all of them and proves it. Printed: when the last board ended against one
alone, and the processor time of both processes. Takes about a minute a row. Run by hand; mind what else
the computer is doing.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from linktool.board.serve import Order, serve_many

SLOWEST = 1.1
"""The last of 64 may end this much later than one alone."""


@dataclass(frozen=True)
class Run:
    """boards; wall_s: from the start of linktool to its end; last_s: the longest of its boards, on that
    board's own clock; processor_s, server_s: processor time of linktool and of the boards' process."""

    boards: int
    wall_s: float
    last_s: float
    first_s: float
    processor_s: float
    server_s: float


def measure(boards: int, size: int, folder: Path) -> Run:
    """One row. AssertionError when a board was not proven."""
    image = folder / "image.bin"
    image.write_bytes(random.Random(1).randbytes(size))
    served = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.many", "--serve", str(boards)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert served.stdout is not None
    try:
        ports = [served.stdout.readline().removeprefix("port: ").strip() for _ in range(boards)]
        bench = folder / "bench.toml"
        bench.write_text("".join(f'[[board]]\nport = "{port}"\nmachine = "heron"\n' for port in ports))
        words = ["enter", "--via", "typed", str(image), "--at", "1000", "--bench", str(bench), "--json"]
        before, began = processor_s(served.pid), time.monotonic()
        entering = subprocess.Popen(
            [sys.executable, "-m", "linktool", *words], stdout=subprocess.PIPE, text=True
        )
        assert entering.stdout is not None
        shown = entering.stdout.read()
        _, status, used = os.wait4(entering.pid, 0)
        entering.returncode = os.waitstatus_to_exitcode(status)
        wall_s, server_s = time.monotonic() - began, processor_s(served.pid) - before
    finally:
        served.terminate()
        served.wait(30)
    results = json.loads(shown)["boards"]
    assert entering.returncode == 0 and all(each["exit_status"] == 0 for each in results), shown[:2000]
    times = [each["report"]["seconds"] for each in results]
    return Run(boards, wall_s, max(times), min(times), used.ru_utime + used.ru_stime, server_s)


def processor_s(process: int) -> float:
    """Processor time a process has used so far; 0 where the system has no /proc."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.many", description=__doc__)
    parser.add_argument("--boards", default="1,8,64", help="how many at once, one row each")
    parser.add_argument("--bytes", type=int, default=448, help="size of the image")
    parser.add_argument("--serve", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.serve:
        orders = [
            Order(f"board:display=60,seed={number}", "tcp:127.0.0.1:0") for number in range(asked.serve)
        ]
        serve_many(orders, lambda line: print(line, flush=True))
        return 0
    print(f"{'boards':>6} {'wall':>8} {'first':>8} {'last':>8} {'of one':>7} {'linktool':>15} {'boards':>15}")
    alone = good = None
    for boards in map(int, asked.boards.split(",")):
        with tempfile.TemporaryDirectory() as folder:
            run = measure(boards, asked.bytes, Path(folder))
        alone = alone or run.wall_s
        good = run.wall_s <= SLOWEST * alone
        print(
            f"{run.boards:>6} {run.wall_s:>6.1f} s {run.first_s:>6.1f} s {run.last_s:>6.1f} s"
            f" {run.wall_s / alone:>6.3f}x {_share(run.processor_s, run)} {_share(run.server_s, run)}",
            flush=True,
        )
    return 0 if good else 1


def _share(used_s: float, run: Run) -> str:
    return f"{used_s:>6.1f} s {used_s / run.wall_s:>6.1%}"


if __name__ == "__main__":
    sys.exit(main())
