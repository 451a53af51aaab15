"""A bare processor with memory and the two registers, to run programs on and to put faults into.

It shares nothing with linktool.board: memory is what the profile's map says, the monitor is a handful
of bytes that keep no more than the profile promises (char_out spoils A), and a fault is a function
that changes what a cell holds after a write. Time is counted in processor cycles.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import ClassVar

from py65.devices.mpu6502 import MPU

from linktool.machine import Area, Machine
from linktool.program_build import Built

FIELD_CYCLES = 16_667
_FALSE_START = 0xEE


class Processor(MPU):
    """py65 counts 3 cycles for DEC absolute where the data sheet has 6."""

    cycletime: ClassVar[list[int]] = [6 if opcode == 0xCE else n for opcode, n in enumerate(MPU.cycletime)]


class Memory:
    """64 KiB as the machine's map has it: RAM, ROM, registers; holes float with the last byte on the bus."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.kinds = list(_kinds(machine.areas))
        self.bytes = bytearray(0x10000)
        self.bus = 0
        self.on_write: Callable[[int, int, bytearray], None] | None = None
        self.on_read: Callable[[int, int], int] | None = None
        self.watch: set[int] = set()
        self.reads = self.writes = 0
        self.printed: list[tuple[int, str]] = []
        self.keys: list[int] = []
        self.busy_until = 0
        self.cpu: MPU = None  # set by Rig
        symbols = machine.symbols
        self.display_data, self.display_status = symbols["display_data"], symbols["display_status"]
        self.key_data, self.key_status = symbols["key_data"], symbols["key_status"]
        self.starved = False
        for at, code in _rom(machine).items():
            self.bytes[at : at + len(code)] = code

    def __getitem__(self, address: int) -> int:
        kind = self.kinds[address]
        if kind == "io":
            self.bus = self.register(address)
        elif kind != "none":
            self.bus = self.bytes[address]
            if address in self.watch:
                self.reads += 1
            if self.on_read is not None and kind == "ram":
                self.bus = self.on_read(address, self.bus)
        return self.bus

    def __setitem__(self, address: int, value: int) -> None:
        self.bus = value
        kind = self.kinds[address]
        if kind == "ram":
            if address in self.watch:
                self.writes += 1
            if self.on_write is None:
                self.bytes[address] = value
            else:
                self.on_write(address, value, self.bytes)
        elif address == self.display_data and self.cpu.processorCycles >= self.busy_until:
            # While it is busy, the display takes nothing.
            self.printed.append((self.cpu.processorCycles, chr(value & 0x7F)))
            self.busy_until = self.cpu.processorCycles + FIELD_CYCLES

    def register(self, address: int) -> int:
        if address == self.display_status:
            if self.cpu.processorCycles < self.busy_until:
                self.cpu.processorCycles = self.busy_until  # nothing else happens while it polls
            return 0
        if address == self.key_status:
            self.starved = not self.keys
            return 0x80 if self.keys else 0
        if address == self.key_data and self.keys:
            return self.keys.pop(0)
        return 0


@lru_cache
def _kinds(areas: tuple[Area, ...]) -> tuple[str, ...]:
    kinds = ["none"] * 0x10000
    for area in areas:
        kinds[area.range.first : area.range.last + 1] = [area.kind] * len(area.range)
    return tuple(kinds)


def _rom(machine: Machine) -> dict[int, bytes]:
    def word(name: str) -> bytes:
        return machine.symbols[name].to_bytes(2, "little")

    monitor = machine.symbols["monitor"]
    char_out = b"\x2c" + word("display_status") + b"\x30\xfb\x8d" + word("display_data")
    char_out += bytes([0xA9, _FALSE_START, 0x60])
    key_in = b"\x2c" + word("key_status") + b"\x10\xfb\xad" + word("key_data") + b"\x29\x7f\x60"
    return {
        monitor: b"\x4c" + word("monitor"),
        machine.symbols["char_out"]: b"\x4c" + (monitor + 0x20).to_bytes(2, "little"),
        machine.symbols["key_in"]: b"\x4c" + (monitor + 0x40).to_bytes(2, "little"),
        monitor + 0x20: char_out,
        monitor + 0x40: key_in,
    }


@dataclass
class Rig:
    """One machine; `run` gives what a built program printed. `ended`: it came back to the monitor."""

    machine: Machine
    processor: type[MPU] = Processor
    memory: Memory = field(init=False)
    cpu: MPU = field(init=False)
    ended: bool = False

    def __post_init__(self) -> None:
        self.memory = Memory(self.machine)
        self.cpu = self.processor(memory=self.memory)
        self.memory.cpu = self.cpu

    def clear(self, faults: bool = True) -> None:
        """Nothing printed, nothing counted; with `faults`, no faults either. Memory stays."""
        memory = self.memory
        memory.printed, memory.keys, memory.reads, memory.writes = [], [], 0, 0
        if faults:
            memory.on_read = memory.on_write = None

    def run(self, built: Built, steps: int = 8_000_000, answer: bool = True) -> str:
        for address, value in built.image.cells():
            self.memory.bytes[address] = value
        self.cpu.pc, self.cpu.sp, self.ended = built.start, 0xFF, False
        monitor = self.machine.symbols["monitor"]
        answers = list(built.answers) if answer else []
        memory, cpu, asked = self.memory, self.cpu, 0
        instruct, cycles, more = cpu.instruct, cpu.cycletime, cpu.extracycles
        for _ in range(steps):
            opcode = memory[cpu.pc]
            cpu.pc, cpu.excycles, cpu.addcycles = cpu.pc + 1, 0, more[opcode]
            instruct[opcode](cpu)
            cpu.processorCycles += cycles[opcode] + cpu.excycles
            if cpu.pc == monitor:
                self.ended = True
                break
            if memory.starved:
                if not answers or answers[0].after not in self.text[asked:]:
                    break
                memory.keys += answers.pop(0).keys.encode("ascii")
                asked, memory.starved = len(self.text), False
        return self.text

    @property
    def text(self) -> str:
        return "".join(character for _, character in self.memory.printed).replace("\r", "\n")

    def times_of(self, character: str) -> list[int]:
        """The cycles at which `character` was printed."""
        return [cycles for cycles, printed in self.memory.printed if printed == character]
