"""demo: the whole job on the simulated board, told step by step. Ends 0 when every step went as told.

Everything shown is done: the program is assembled, typed in through the monitor ROM, read back and run
on the simulated processor. Then one memory chip is spoilt, and the same check finds it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from formats import registry
from formats.image import Image, hex4
from linktool import machine as profiles
from linktool.actions import Talk
from linktool.bench import Bench
from linktool.board import open_board
from linktool.commands import Values
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.interrupts import interrupts
from linktool.jobs.enter import enter
from linktool.jobs.listing import Told
from linktool.jobs.report import Report
from linktool.jobs.run import run
from linktool.jobs.verify import BLOCK
from linktool.plan import make, read_cost
from linktool.port import Port
from linktool.render.terminal import Terminal
from linktool.render.text import count, duration, lines, screen_lines

R = TypeVar("R")
ORIGIN = 0x1000
CHIP, CHIP_BIT, CHIP_RANGE = "K7", 3, "1000-1FFF"

SOURCE = b"""
; The Heron workshop's first evening: say hello, then go back to the monitor.
        ldx #0
next:   lda text, x
        beq done
        jsr char_out
        inx
        bne next
done:   jmp monitor
text:   .byte 13, "HERON IS AWAKE.", 13, "ALL CHIPS REPORT TO THE WORKSHOP.", 13, 0
"""


def demo(bench: Bench, values: Values) -> Told:
    """The tour. Needs no port, no files and no settings."""
    with interrupts() as stop:
        tour = _Tour(Terminal(bench.quiet).say, stop)
        tour.greet()
        tour.plan()
        entered = tour.enter()
        found = entered.ok and tour.find_fault()
    status = 0 if found else entered.exit_status or 1
    return Told("demo", status, (("proven", len(tour.image)), ("fault_found", found)))


class _Tour:
    def __init__(self, tell: Callable[[str], None], stop: Callable[[], int]) -> None:
        self.tell, self.stop = tell, stop
        self.machine = profiles.load("heron")
        self.image: Image = registry.read(
            SOURCE, "hello.s", format="source", at=ORIGIN, symbols=self.machine.symbols
        ).image

    def talk(self, port: Port, job: Callable[[Conversation], Talk[R]]) -> R:
        return drive(job(Conversation(self.machine)), port, stop=self.stop)

    def shown(self, rows: list[str]) -> None:
        for row in rows:
            self.tell(f"     {row}")

    def greet(self) -> None:
        self.tell("This is the simulated Heron board: a 6502, 16 KiB of RAM and a monitor ROM of 256 bytes.")
        self.tell("Its clock is its own, so minutes pass in a moment.")

    def plan(self) -> None:
        plan, reading = make(self.machine, self.image), read_cost(self.machine, self.image, BLOCK)
        size = count(len(self.image), "byte")
        self.tell(f"\n1. A program of {size} is to go to {hex4(ORIGIN)}. These lines would be typed:")
        self.shown([line.text for line in plan.lines])
        keys, typing = count(plan.cost.keystrokes, "key"), duration(plan.cost.seconds)
        self.tell(f"   {keys}; at best {typing} to type and {duration(reading.seconds)} to read back.")

    def enter(self) -> Report:
        self.tell("\n2. It is typed. A line's echo is compared before the key that ends the line is struck.")
        port = open_board("board:")
        report = self.talk(port, lambda talk: enter(talk, self.image, "board:"))
        self.shown(lines(report))
        if report.ok:
            self.tell("\n3. It is started, and this appears on the Heron's screen:")
            ran = self.talk(port, lambda talk: run(talk, ORIGIN, 10.0, "board:"))
            self.shown(screen_lines(ran.output))
            self.shown(lines(ran))
        port.close()
        return report

    def find_fault(self) -> bool:
        self.tell(f"\n4. Now chip {CHIP} is spoilt: bit {CHIP_BIT} of {CHIP_RANGE} reads 0.")
        self.tell("   The same program is entered again:")
        port = open_board(f"board:fault=stuck-chip:{CHIP}:0")
        report = self.talk(port, lambda talk: enter(talk, self.image, "board:"))
        port.close()
        wrong, rest = lines(report)[:3], len(report.differences) - 3
        self.shown([*wrong, f"  and {count(rest, 'byte')} more"] if rest > 0 else wrong)
        bits = {finding.expected ^ (finding.found or 0) for finding in report.differences}
        if report.exit_status != 1 or bits != {1 << CHIP_BIT}:
            return False
        self.tell(f"   Every wrong byte differs in bit {CHIP_BIT} alone: by the profile, chip {CHIP}.")
        self.tell("\nThat is the main job. `linktool --help` lists the commands; README.md shows how to wire")
        self.tell("a real board, and what to mind before you do.")
        return True
