"""What the resident routines bring: `python -m tests.benchmarks.resident`. Run by hand; prints a table.

Virtual time on the simulated board, display 60 characters a second. "All told" begins with the first key to a
machine nothing is known of: waking, measuring the link, putting the routines there and proving them included.
"""

from __future__ import annotations

import random
import statistics
import sys

from formats.image import Image
from linktool.actions import Note
from linktool.board import open_board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.report import Report
from linktool.jobs.resident_check import check
from linktool.jobs.resident_enter import _Entry, enter
from linktool.jobs.resident_read import read
from linktool.machine import Machine, load, with_link
from linktool.resident.routines import BOOTSTRAP_BYTES, CHECKER_BYTES, READER_BYTES, RECEIVER_BYTES
from linktool.resident.sending import Tally

SIZE = 4096
DATA = random.Random(1).randbytes(SIZE)
IMAGE = Image.from_bytes(0x0280, DATA)
SEEDS = 20
MIXES = {
    "1 % of keys lost": ("keys-lost:0.01",),
    "1 % of keys changed": ("keys-changed:0.01",),
    "1 % of printed characters lost": ("prints-lost:0.01",),
    "1 % of printed characters changed": ("prints-changed:0.01",),
    "1 % each way, half lost, half changed": (
        "keys-lost:0.005",
        "keys-changed:0.005",
        "prints-lost:0.005",
        "prints-changed:0.005",
    ),
}


def row(what: str, found: str, asked: str = "", good: bool | None = None) -> None:
    mark = {True: "ok", False: "MISSED", None: ""}[good]
    print(f"{what:<72} {found:>22}   {asked:<9} {mark}", flush=True)


class Bench:
    """One board, one talk, and what was noted."""

    def __init__(self, name: str = "heron", rate: int = 9600, options: str = "") -> None:
        self.machine: Machine = with_link(load(name), rate=rate)
        extra = f",{options}" if options else ""
        self.board = open_board(f"board:machine={name},rate={rate},display=60{extra}")
        self.talk = Conversation(self.machine)
        self.tally = Tally()

    def enter(self, image: Image = IMAGE, via: str = "receiver") -> Report:
        if via == "typed":
            report = drive(enter(self.talk, image, "board:", via="typed"), self.board)
        else:
            entry = _Entry(self.talk, image, True)
            report = drive(entry.report("board:"), self.board, notes=self._noted)
            self.tally = entry.found.tally
        held = all(self.board.memory(s.first, s.last) == s.data for s in image.segments)
        assert not report.ok or held, "claimed proven, and is not"
        return report

    def _noted(self, note: Note, at: float) -> None:
        """Nothing is shown."""


def clean() -> dict[int, tuple[float, float]]:
    """Rate in baud -> seconds all told, and seconds of sending alone."""
    found: dict[int, tuple[float, float]] = {}
    typed = Bench().enter(via="typed")
    assert typed.ok
    row("4 KiB typed and read back, 960 characters/s, all told", f"{typed.effort.seconds:.1f} s")
    for rate, most in ((9600, 24), (2400, 45)):
        bench = Bench(rate=rate)
        report = bench.enter()
        seconds, tally = report.effort.seconds, bench.tally
        good = report.ok and report.proof == "checksum" and seconds < most
        row(
            f"4 KiB through the receiver, {rate // 10} characters/s, all told",
            f"{seconds:.2f} s",
            f"< {most} s",
            good,
        )
        if rate == 9600:
            ratio = typed.effort.seconds / seconds
            row(
                "    times faster than typed and read back, same run",
                f"{ratio:.1f} x",
                ">= 18 x",
                ratio >= 18,
            )
        carried = 8 * tally.data / 6 / tally.seconds / (rate / 10)
        row("    sending alone: of the adapter's rate", f"{carried:.2%}", ">= 92 %", carried >= 0.92)
        found[rate] = seconds, tally.seconds
        changed = bytearray(DATA)
        for at in random.Random(2).sample(range(2000, 2200), 10):
            changed[at] ^= 0x55
        again = bench.enter(Image.from_bytes(0x0280, bytes(changed)))
        seconds = again.effort.seconds
        wanted = ("< 5 s", again.ok and seconds < 5) if rate == 9600 else ("", None)
        row("    entered again with 10 bytes changed, routines there", f"{seconds:.2f} s", *wanted)
        bench.board.poke(0x0280, DATA)
        checked = drive(check(bench.talk, IMAGE, "board:"), bench.board)
        seconds = checked.effort.seconds
        good = checked.ok and checked.via == "checker" and seconds < 4
        row("    4 KiB checked, routines there", f"{seconds:.2f} s", "< 4 s", good)
        fresh = Bench(rate=rate)
        fresh.board.poke(0x0280, DATA)
        first = drive(check(fresh.talk, IMAGE, "board:", "checker"), fresh.board)
        row("    4 KiB checked, the checker put there first, all told", f"{first.effort.seconds:.2f} s")
    bench = Bench()
    bench.board.poke(0x0280, DATA)
    dumped = drive(read(bench.talk, (IMAGE.segments[0].range,), "board:", "dump"), bench.board)
    printed = drive(read(bench.talk, (IMAGE.segments[0].range,), "board:", "reader"), bench.board)
    assert printed.ok and printed.proof == "checksum" and printed.image == dumped.image
    row("4 KiB read by the monitor's dump, once, not proven", f"{dumped.effort.seconds:.1f} s")
    row("    by the reader, put there first, proven by sums", f"{printed.effort.seconds:.1f} s")
    bound = SIZE * 4 / 3 / 60
    row("    of what the display allows for six bits a character", f"{bound / printed.effort.seconds:.1%}")
    for name, options in (("dot", ""), ("heron", "latency=0.016"), ("heron", "strobe=0.005")):
        bench = Bench(name, options=options)
        report = bench.enter()
        assert report.ok
        row(f"4 KiB, {name} {options}, 960 characters/s, all told", f"{report.effort.seconds:.2f} s")
    return found


def noisy(found: dict[int, tuple[float, float]]) -> None:
    whole_s, sending_s = found[9600]
    for name, faults in MIXES.items():
        told, sending, proven = [], [], 0
        for seed in range(1, SEEDS + 1):
            bench = Bench(options=f"seed={seed}," + ",".join(f"fault={fault}" for fault in faults))
            report = bench.enter()
            proven += report.ok
            told.append(whole_s / report.effort.seconds)
            sending.append(sending_s / bench.tally.seconds)
        row(f"{name}: proven", f"{proven} of {SEEDS}", "all", proven == SEEDS)
        mean = statistics.mean(told)
        row(
            "    all told, of the clean rate: mean (least)",
            f"{mean:.1%} ({min(told):.1%})",
            ">= 50 %",
            mean >= 0.5,
        )
        mean = statistics.mean(sending)
        row("    sending alone: mean (least)", f"{mean:.1%} ({min(sending):.1%})", ">= 50 %", mean >= 0.5)


def main() -> int:
    row("bytes of checker (with the sum both use), receiver, reader, bootstrap",
        f"{CHECKER_BYTES}, {RECEIVER_BYTES}, {READER_BYTES}, {BOOTSTRAP_BYTES}")  # fmt: skip
    noisy(clean())
    return 0


if __name__ == "__main__":
    sys.exit(main())
