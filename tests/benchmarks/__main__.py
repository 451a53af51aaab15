"""All benchmarks of the main job, one table: `python -m tests.benchmarks`. Run by hand; prints ratios.

Virtual time for everything on the simulated board: what is measured is the talk, not this computer.
Real time for start-up and planning, which depends on the computer: compare ratios, not seconds.
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from formats import registry
from formats.image import Image
from linktool import machine as profiles
from linktool.board import open_board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.enter import enter
from linktool.jobs.report import Report
from linktool.plan import make
from tests.linktool.test_plan import fewest_keys

HERON = profiles.load("heron")
ROWS: list[tuple[str, str, str, bool | None]] = []


def row(what: str, found: str, asked: str, good: bool | None = None) -> None:
    ROWS.append((what, found, asked, good))
    mark = {True: "ok", False: "MISSED", None: ""}[good]
    print(f"{what:<62} {found:>22}   {asked:<12} {mark}", flush=True)


def image(size: int, seed: int = 1, first: int = 0x1000) -> Image:
    return Image.from_bytes(first, random.Random(seed).randbytes(size))


def entered(options: str, size: int, check: bool = False, seed: int = 1) -> tuple[Report, float]:
    """The report of one entry, and the real seconds it took."""
    began = time.perf_counter()
    report = drive(enter(Conversation(HERON), image(size, seed), "board:", check), open_board(options))
    return report, time.perf_counter() - began


def display_ratio(report: Report) -> float:
    """Characters printed against what the display could have printed in the time."""
    return report.effort.printed / HERON.screen.rate_cps / report.effort.seconds


def typing() -> None:
    clean: dict[float, float] = {}
    for latency, least in ((0.016, 0.97), (0.004, 0.98)):
        report, _ = entered(f"board:rate=2400,latency={latency},display=60", 1024)
        assert report.ok
        effort = report.effort
        clean[latency] = effort.seconds - effort.preparation_s
        alone = (effort.printed - effort.preparation_printed) / 60 / clean[latency]
        name = f"1 KiB typed, 2400 baud, {latency * 1000:g} ms each way, of the display's rate"
        row(name, f"{alone:.2%}", f">= {least:.0%}", alone >= least)
        row("    with finding and measuring the machine first", f"{display_ratio(report):.2%}", "")
    faults = "fault=keys-lost:0.01,fault=prints-changed:0.005"
    rates = []
    for seed in range(20):
        report, _ = entered(f"board:rate=2400,latency=0.016,display=60,seed={seed},{faults}", 1024, seed=1)
        assert report.ok, report.lost
        rates.append(clean[0.016] / (report.effort.seconds - report.effort.preparation_s))
    name = "    1 % of keys lost, 0.5 % of printed changed: of the clean rate"
    row(name, f"{statistics.mean(rates):.1%} (least {min(rates):.1%})", ">= 60%", min(rates) >= 0.6)
    proven = 0
    for seed in range(10):
        report, _ = entered(f"board:rate=2400,latency=0.016,seed={seed},{faults}", 256, check=True)
        proven += report.ok and report.exit_status == 0
    row("    the same, 256 bytes with read-back: sessions proven", f"{proven} of 10", "all", proven == 10)


def keystrokes() -> None:
    worst = 0.0
    for seed in range(5):
        wanted = image(2000, seed)
        worst = max(worst, make(HERON, wanted).cost.keystrokes / fewest_keys(wanted, 127) - 1)
    row("keystrokes over the least possible", f"{worst:.2%}", "<= 1%", worst <= 0.01)


def real_time() -> None:
    report, seconds = entered("board:rate=2400,latency=0.016", 4096, check=True)
    assert report.ok
    row("4 KiB typed and read back, virtual", f"{report.effort.seconds:.0f} s", "")
    row("    real time of that session", f"{seconds:.1f} s", "< 20 s", seconds < 20)
    whole = image(0x10000, first=0)
    began = time.perf_counter()
    make(HERON, whole)
    spent = time.perf_counter() - began
    row("plan of 64 KiB", f"{spent * 1000:.0f} ms", "< 200 ms", spent < 0.2)
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder, "a.hex")
        source.write_bytes(registry.write(whole, "intel-hex"))
        help_s = started("--help")
        row("linktool --help", f"{help_s * 1000:.0f} ms", "< 150 ms", help_s < 0.15)
        convert_s = started("convert", str(source), str(Path(folder, "a.s19")), "--force")
        row("convert of 64 KiB, HEX to S-record", f"{convert_s * 1000:.0f} ms", "< 300 ms", convert_s < 0.3)


def started(*words: str) -> float:
    """The middle of five real times of a linktool process, in seconds."""
    times = []
    for _ in range(5):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "linktool", *words], check=True, capture_output=True)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


if __name__ == "__main__":
    keystrokes()
    typing()
    real_time()
    sys.exit(any(good is False for *_, good in ROWS))
