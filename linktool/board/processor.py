"""The board's processor: py65's core with its known faults put right, and a run loop that skips idle polling.

Put right (py65 1.2.0): DEC absolute takes 6 cycles, BRA of the 65C02 takes 3; a decimal sum on the 65C02
sets N and Z by what is in A then, and takes a cycle more (W65C02S data sheet, table of differences from the
NMOS part; from memory); a reset reads the vector and sets I and SP = FD; an opcode that is not in the data
sheet stops the processor until a reset (our model of it) instead of passing for nothing. Left as they are:
no dummy bus accesses, no interrupts.

A program that waits reads a status register over and over. When it comes back to the same read with the
same registers, and nothing has changed in between, it will go on so until the next event: whole rounds of
the loop are skipped then, and the result is the same to the cycle as without skipping.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from formats.image import hex4
from linktool.board.bus import Bus

RESET_VECTOR = 0xFFFC
RESET_CYCLES = 7
_ADC = (0x61, 0x65, 0x69, 0x6D, 0x71, 0x72, 0x75, 0x79, 0x7D)
_SUMS = (*_ADC, *(0x80 | opcode for opcode in _ADC))
"""ADC and SBC of the 65C02."""
_INTERRUPT, _DECIMAL, _BREAK, _UNUSED = 0x04, 0x08, 0x10, 0x20


class Processor:
    """Runs what is on the bus. `cycles` is its time, `stopped` why it stands still ("" while it runs).
    idle: it only polls; idle_until: the cycle of the event it waits for, as it was known at the last poll."""

    def __init__(self, bus: Bus, model: str, next_event: Callable[[int], float]) -> None:
        core: Any
        if model == "65C02":
            from py65.devices.mpu65c02 import MPU

            core = MPU(memory=bus, pc=0)
        else:
            from py65.devices.mpu6502 import MPU

            core = MPU(memory=bus, pc=0)
        self.core = core
        self.model = model
        self.bus = bus
        self.next_event = next_event
        self.skipping = True
        self.skipped = 0
        self.stopped = ""
        self.idle = False
        self.idle_until = float("inf")
        self._limit = 0
        self._seen: dict[int, tuple[tuple[int, ...], int]] = {}
        self._seen_changes = -1
        self._read = bus.reader()
        core.ByteAt = self._read
        core.WordAt = self._word
        self._instructions = list(core.instruct)
        self._cycles = list(core.cycletime)
        self._cycles[0xCE] = 6
        for opcode in range(0x100):
            if core.disassemble[opcode][0] == "???":
                self._instructions[opcode] = partial(self._stop_at, opcode)
        if model == "65C02":
            self._cycles[0x80] = 2
            self._instructions[0xCB] = self._wait
            for opcode in _SUMS:
                self._instructions[opcode] = partial(_cmos_sum, core.instruct[opcode])

    @property
    def cycles(self) -> int:
        """Clock cycles since power came on; within an instruction, those before it."""
        return int(self.core.processorCycles)

    def _word(self, address: int) -> int:
        read = self._read
        return read(address) | read((address + 1) & 0xFFFF) << 8

    def _stop_at(self, opcode: int, core: Any) -> None:
        core.pc = (core.pc - 1) & 0xFFFF
        self.stopped = f"{opcode:02X} at {hex4(core.pc)} is no instruction"
        self._limit = 0

    def _wait(self, core: Any) -> None:
        self.stopped = f"WAI at {hex4((core.pc - 1) & 0xFFFF)} waits for an interrupt"
        self._limit = 0

    def reset(self) -> None:
        """What the reset line does: a way out of everything. RAM stays as it is."""
        core = self.core
        core.pc = self._word(RESET_VECTOR)
        core.sp = 0xFD
        core.p |= _UNUSED | _BREAK | _INTERRUPT
        if self.model == "65C02":
            core.p &= ~_DECIMAL
        core.waiting = False
        core.processorCycles += RESET_CYCLES
        self.stopped = ""
        self.idle = False
        self.bus.changes += 1

    def halt_run(self) -> None:
        """Leave the run loop after this instruction."""
        self._limit = 0

    def run(self, until: int) -> None:
        """Go on until the clock reads `until` cycles or a little more, or `halt_run` was called."""
        core, read, plain, cells = self.core, self._read, self.bus.plain, self.bus.cells
        instructions, cycles, extra = self._instructions, self._cycles, core.extracycles
        self._limit = until
        self.idle = False
        while core.processorCycles < self._limit and not self.stopped:
            pc = core.pc
            opcode = cells[pc] if plain[pc >> 8] else read(pc)
            core.pc = (pc + 1) & 0xFFFF
            core.excycles = 0
            core.addcycles = extra[opcode]
            instructions[opcode](core)
            core.pc &= 0xFFFF
            core.processorCycles += cycles[opcode] + core.excycles
            if core.pc == pc:
                self._circle(opcode, cycles[opcode] + core.excycles)
        if self.stopped:
            core.processorCycles = max(core.processorCycles, until)
            self.idle, self.idle_until = True, float("inf")

    def _circle(self, opcode: int, period: int) -> None:
        """A jump or branch to itself: nothing but a reset ends it."""
        jump = opcode in (0x4C, 0x80) or opcode & 0x1F == 0x10
        if not jump or not self.skipping or self._limit <= self.core.processorCycles:
            return
        rounds = -(-(self._limit - self.core.processorCycles) // period)
        self.core.processorCycles += rounds * period
        self.skipped += rounds * period
        self.idle, self.idle_until = True, float("inf")

    def not_ready(self) -> None:
        """A status register has just been read and says wait: skip whole rounds of the loop reading it."""
        if not self.skipping:
            return
        core = self.core
        now = core.processorCycles
        state = (core.a, core.x, core.y, core.p, core.sp)
        if self.bus.changes != self._seen_changes:
            self._seen.clear()
            self._seen_changes = self.bus.changes
        seen = self._seen.get(core.pc)
        self.idle = False
        if seen is not None and seen[0] == state:
            period = now - seen[1]
            event = self.next_event(now)
            rounds = int(min(event, self._limit) - now - 1) // period
            if rounds > 0:
                core.processorCycles += rounds * period
                self.skipped += rounds * period
            self.idle, self.idle_until = event >= self._limit, event
        self._seen[core.pc] = (state, core.processorCycles)


def _cmos_sum(instruction: Callable[[Any], None], core: Any) -> None:
    instruction(core)
    if core.p & _DECIMAL:
        core.FlagsNZ(core.a)
        core.excycles += 1
