"""Whole entries, checks and readings through the resident routines, each drawn from a seed, with the
board's true memory compared with what was claimed. By hand:

    python -m tests.linktool.resident.runs --runs 1000 --seed 1

Drawn are machine, adapter, image, noise on the wire, a reset or a cut at some key, Ctrl-C, and faults of
memory cells and address lines. A seed that breaks a rule is printed; the same seed plays the same run again.
"""

from __future__ import annotations

import argparse
import sys
import traceback
from collections import Counter
from dataclasses import dataclass, field
from random import Random

from formats.image import Image, Range
from linktool.board.adapter import wire_of
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.report import Report
from linktool.jobs.resident_check import check
from linktool.jobs.resident_enter import enter
from linktool.jobs.resident_read import read
from linktool.machine import Machine, load, with_link
from linktool.resident.residence import residence

NOISES = ("keys-lost", "keys-changed", "keys-doubled", "prints-lost", "prints-changed", "prints-doubled")
MACHINES = {name: load(name) for name in ("heron", "dot")}


@dataclass
class Run:
    """What a seed gives: the board and what is done on it."""

    machine: Machine
    image: Image
    faults: list[str] = field(default_factory=list)
    rate: int = 9600
    latency_s: float = 0.002
    jitter_s: float = 0.0
    strobe_s: float = 0.0
    stop_at_s: float | None = None
    changed: int = 0
    kind: str = "clean"


def draw(seed: int) -> Run:
    random = Random(seed)
    machine = MACHINES[random.choice(("heron", "dot"))]
    top = 0x3FFF if machine.name == "heron" else 0x1FFF
    rate = random.choice((2400, 9600, 9600, 9600, 19200, 115200))
    run = Run(with_link(machine, rate=rate), _image(random, top), rate=rate)
    run.latency_s = random.choice((0.001, 0.002, 0.016))
    run.jitter_s = random.choice((0.0, 0.0, 0.0, 0.004))
    run.strobe_s = random.choice((0.0,) * 6 + (0.003, 0.006))
    run.kind = random.choice(("clean", "noise", "noise", "noise", "reset", "cut", "stop", "memory", "all"))
    if run.kind in ("noise", "all"):
        for noise in random.sample(NOISES, random.randint(1, 4)):
            run.faults.append(f"{noise}:{random.choice((0.001, 0.005, 0.01, 0.02))}")
    if run.kind in ("reset", "all"):
        run.faults.append(f"reset-at:{random.choice((random.randint(50, 900), random.randint(300, 3000)))}")
    if run.kind == "cut":
        run.faults.append(f"cut-at:{random.randint(20, 2000)}")
    if run.kind in ("stop", "all") and random.random() < 0.7:
        run.stop_at_s = random.uniform(0.1, 15.0)
    if run.kind in ("memory", "all"):
        run.faults += _memory_faults(random, run.image, top)
    run.changed = random.choice((0, 1, 10))
    return run


def _image(random: Random, top: int) -> Image:
    shape = random.choice(("byte", "page", "across", "many", "whole", "edge", "zero"))
    first = random.randint(0x0280, top - 0x600)
    runs = {
        "byte": [(first, 1)],
        "page": [(first & 0xFF00 | 0x300, 0x100)],
        "across": [(first, random.randint(200, 700))],
        "many": [(first + 40 * number, random.randint(1, 30)) for number in range(random.randint(2, 8))],
        "whole": [(0x0280, random.randint(1500, 4096))],
        "edge": [(top - 0xFF - random.randint(0, 300), random.randint(1, 200))],
        "zero": [(0x0000, random.randint(1, 16)), (first, 100)],
    }[shape]
    cells = {at + offset: random.randrange(256) for at, length in runs for offset in range(length)}
    if random.random() < 0.2:
        cells = dict.fromkeys(cells, random.choice((0x00, 0xFF, 0x1B)))
    return Image.from_cells((at, value) for at, value in cells.items() if at <= top)


def _memory_faults(random: Random, image: Image, top: int) -> list[str]:
    segment = random.choice(image.segments)
    at = random.randint(segment.first, segment.last)
    elsewhere = random.choice((top - random.randint(0, 0xFF), at))
    return [
        random.choice(
            (
                f"stuck:{elsewhere:04X}:{random.randrange(8)}:{random.randrange(2)}",
                f"transition:{elsewhere:04X}:{random.randrange(8)}:{random.choice(('up', 'down'))}",
                f"bank-missing:{top & 0xF000:04X}-{top:04X}",
                f"address-open:{random.randint(3, 9)}:{random.randrange(2)}:1000-{top:04X}",
                "mirror:1000-17FF:0800-0FFF",
                f"coupling:in:{at:04X}.1:up:{max(0x280, at - 300):04X}.3",
            )
        )
    ]


class Wrong(AssertionError):
    """A rule was broken."""


def play(seed: int) -> tuple[Run, list[str]]:
    """The run of that seed. Wrong where a claim is not true; what else is raised is a mistake too."""
    run = draw(seed)
    board = Board(
        run.machine,
        wire=wire_of(
            run.machine, rate=run.rate, latency_s=run.latency_s, jitter_s=run.jitter_s, strobe_s=run.strobe_s
        ),
        faults=run.faults,
        seed=seed,
    )
    talk = Conversation(run.machine)
    before = board.memory(0, 0xFFFF)
    told = []

    def stop() -> int:
        return int(run.stop_at_s is not None and board.now() >= run.stop_at_s)

    report = drive(enter(talk, run.image, "board:", via="receiver"), board, stop=stop)
    told.append(_judged(board, run, report, "enter"))
    image = run.image
    if run.changed and not report.stopped and not report.lost:
        cells = dict(image.cells())
        random = Random(f"changed {seed}")
        for address in random.sample(sorted(cells), min(run.changed, len(cells))):
            cells[address] ^= random.randrange(1, 256)
        image = Image.from_cells(cells.items())
        report = drive(enter(talk, image, "board:", via="receiver"), board)
        told.append(_judged(board, run, report, "again"))
    if not report.lost:
        report = drive(check(talk, image, "board:", "checker"), board)
        told.append(_judged(board, run, report, "check"))
    if not report.lost and seed % 3 == 0:
        first = image.segments[0].range
        report = drive(
            read(talk, (Range(first.first, min(first.last, first.first + 299)),), via="reader"), board
        )
        told.append(_judged(board, run, report, "read"))
    told.append(_strays(board, run, talk, before))
    return run, [each for each in told if each]


def _judged(board: Board, run: Run, report: Report, name: str) -> str:
    memory = board.memory(0, 0xFFFF)
    for part in report.proven:
        for address in range(part.first, part.last + 1):
            if memory[address] != report.image.get(address):
                raise Wrong(f"{name}: {address:04X} is claimed proven and holds {memory[address]:02X}")
    if (
        report.ok
        and report.command != "read"
        and sum(len(part) for part in report.proven) != len(report.image)
    ):
        raise Wrong(f"{name}: it is called done, and not all is proven")
    if report.ok:
        return f"{name} {report.via}, {report.proof}"
    return f"{name} " + ("lost" if report.lost else "stopped" if report.stopped else "differs")


def _strays(board: Board, run: Run, talk: Conversation, before: bytes) -> str:
    """What was written besides the image, the routines and what the monitor itself writes, told or Wrong.

    Faults of address lines and coupled cells write elsewhere by themselves. On a noisy link two faults that
    hide each other in one typed line, against which no echo helps, can put its bytes elsewhere: told apart.
    That a spoilt block writes nothing is shown in test_receiver.py.
    """
    allowed = bytearray(0x10000)
    places = [segment.range for segment in run.image.segments]
    places += [reserved.range for reserved in run.machine.reserved]
    places += residence(talk).touched
    for place in places:
        allowed[place.first : place.last + 1] = bytes([1]) * len(place)
    after = board.memory(0, 0xFFFF)
    strays = [at for at in range(0x10000) if before[at] != after[at] and not allowed[at]]
    if not strays or run.kind in ("memory", "all"):
        return ""
    if run.kind != "noise" or len(strays) > 60:
        raise Wrong(f"written outside: {', '.join(f'{at:04X}' for at in strays[:8])} of {len(strays)}")
    return "a typed line went astray"


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    wrong = 0
    for seed in range(asked.seed, asked.seed + asked.runs):
        try:
            run, told = play(seed)
            counts[f"kind {run.kind}"] += 1
            for each in told:
                counts[f"{run.kind}: {each}"] += 1
        except Exception as error:
            wrong += 1
            text = str(error) if isinstance(error, Wrong) else traceback.format_exc()
            sys.stdout.write(f"seed {seed} ({draw(seed).kind}): {text}\n")
            sys.stdout.flush()
    for name, number in sorted(counts.items()):
        sys.stdout.write(f"{number:6} {name}\n")
    sys.stdout.write(f"{asked.runs} runs, {wrong} wrong\n")
    return wrong > 0


if __name__ == "__main__":
    sys.exit(main())
