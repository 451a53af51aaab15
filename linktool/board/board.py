"""The simulated board as a Port with a clock of its own: stepped inside read and write, never by itself.

Virtual time only moves in `read`, to the moment the first byte arrives or to the time asked for. The
processor runs as far as the host's clock, or to its next printed character, and no further, so that
what the host sends next is in time. Everything is the same in every run with the same seed.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil
from random import Random

from formats.image import Image, Range, hex4
from linktool.board import faults as fault_table
from linktool.board.adapter import Adapter, Wire, wire_of
from linktool.board.bus import Bus
from linktool.board.monitor import registers_of, rom_for
from linktool.board.processor import RESET_VECTOR, Processor
from linktool.board.statistics import Statistics
from linktool.board.terminal import READY, Display, Keyboard
from linktool.errors import PortError, PortLost
from linktool.machine import Machine


class Board:
    """One machine with its adapter. See linktool.port for now, write, read and close.

    machine   the profile it is built after: map, registers, clock, screen rate, link
    rom       another monitor: bytes that end at the end of the ROM with the reset vector, or an Image
    wire      the adapter, else the profile's rate and frame and a latency of 2 ms
    display_cps, clock_hz  in place of the profile's
    faults    specs, see linktool.board.faults
    seed      for the RAM's contents at power-up, the jitter and the faults
    """

    def __init__(
        self,
        machine: Machine,
        *,
        rom: bytes | Image | None = None,
        wire: Wire | None = None,
        display_cps: float | None = None,
        clock_hz: float | None = None,
        faults: tuple[str, ...] | list[str] = (),
        seed: int = 1,
        name: str = "board:",
    ) -> None:
        self.machine = machine
        self.name = name
        self.clock_hz = clock_hz or machine.clock_hz
        found = fault_table.parse(faults, machine, seed)
        self._now_s = 0.0
        self._open = True
        self._cut_s: float | None = None
        self._resets = sorted(m.at_s for m in found.resets if m.at_s is not None)
        self._reset_keys = [m.keys for m in found.resets if m.keys is not None]
        self._cut_keys = [m.keys for m in found.cuts if m.keys is not None]
        for moment in found.cuts:
            if moment.at_s is not None:
                self._cut_s = moment.at_s if self._cut_s is None else min(self._cut_s, moment.at_s)
        self.bus = Bus(machine, Random(f"{seed}:power-up").randbytes(0x10000), self._board_seconds)
        self._load_rom(rom_for(machine) if rom is None else rom, found.rom)
        self.keyboard = Keyboard()
        self.display = Display(self.clock_hz / (display_cps or machine.screen.rate_cps), self._shown)
        self._wire_registers()
        self.adapter = Adapter(machine, wire or wire_of(machine), tuple(found.wire), Random(f"{seed}:jitter"))
        self.processor = Processor(self.bus, machine.processor, self._next_event)
        self.bus.fit(found.memory)
        self.processor.reset()

    def _load_rom(self, rom: bytes | Image, bad: Mapping[int, int]) -> None:
        area = next(
            (a.range for a in self.machine.areas if a.kind == "rom" and RESET_VECTOR + 1 in a.range), None
        )
        if area is None:
            raise PortError(
                f"machine {self.machine.name} has no ROM at the reset vector",
                f"The simulated board needs a ROM area that holds {hex4(RESET_VECTOR)}",
            )
        if isinstance(rom, bytes):
            if not 6 <= len(rom) <= len(area):
                raise PortError(
                    f"a ROM of {len(rom)} bytes does not fit {area}", f"At most {len(area)} bytes"
                )
            rom = Image.from_bytes(area.last + 1 - len(rom), rom)
        for whole in (a.range for a in self.machine.areas if a.kind == "rom"):
            self.bus.cells[whole.first : whole.last + 1] = b"\xff" * len(whole)
        for address, value in rom.cells():
            if self.machine.kind_at(address) != "rom":
                raise PortError(f"the ROM image has a byte at {hex4(address)}, where the machine has no ROM")
            self.bus.cells[address] = value
        for address, value in bad.items():
            self.bus.cells[address] = value

    def _wire_registers(self) -> None:
        key_data, key_status, display_data, display_status = registers_of(self.machine)
        self.bus.readers[key_data] = self._read_key
        self.bus.readers[key_status] = self._read_key_status
        self.bus.readers[display_status] = self._read_display_status
        self.bus.writers[display_data] = self._write_display

    # ---- the registers, as the processor meets them --------------------------------------------------

    def _settle(self) -> None:
        if self.keyboard.arrivals and self.keyboard.settle(self.processor.core.processorCycles):
            self.bus.changes += 1

    def _read_key(self) -> int:
        self._settle()
        if self.keyboard.take():
            self.bus.changes += 1
        return self.keyboard.code

    def _read_key_status(self) -> int:
        self._settle()
        if self.keyboard.waiting:
            return READY
        self.processor.not_ready()
        return 0

    def _read_display_status(self) -> int:
        self._settle()  # a key that has come is no event any more: it would keep rounds from being skipped
        if self.display.busy(self.processor.core.processorCycles):
            self.processor.not_ready()
            return READY
        return 0

    def _write_display(self, value: int) -> None:
        self.bus.changes += 1
        self.display.write(self.processor.core.processorCycles, value)

    def _shown(self, cycle: int, code: int) -> None:
        self.adapter.printed(cycle / self.clock_hz, code)
        self.processor.halt_run()

    def _next_event(self, now: int) -> float:
        event = float("inf")
        if self.keyboard.arrivals:
            event = self.keyboard.arrivals[0][0]
        if now < self.display.busy_until < event:
            event = ceil(self.display.busy_until)
        return event

    def _board_seconds(self) -> float:
        return self.processor.cycles / self.clock_hz

    # ---- the port ------------------------------------------------------------------------------------

    def now(self) -> float:
        """Seconds on the board's clock."""
        return self._now_s

    def write(self, data: bytes) -> None:
        """Hand bytes to the adapter. PortLost when the link was cut."""
        for byte in data:
            self._still_there()
            for at_s, code in self.adapter.key(self._now_s, byte):
                self.keyboard.arrivals.append((ceil(at_s * self.clock_hz), code))
            if self.adapter.sent in self._reset_keys:
                self._reset_keys.remove(self.adapter.sent)
                self._resets = sorted([*self._resets, self._now_s])
            if self.adapter.sent in self._cut_keys:
                self._cut_keys.remove(self.adapter.sent)
                self.cut()

    def read(self, until: float) -> bytes:
        """What has arrived; else the first byte that arrives by `until`; else b"". PortLost once cut."""
        if not self._open:
            raise PortLost(f"{self.name} is closed")
        until = max(until, self._now_s)
        if self._cut_s is not None:
            until = max(self._now_s, min(until, self._cut_s))
        while True:
            arrived = self._arrived(until)
            if arrived:
                return arrived
            if not self._run(until):
                break
        self._now_s = until
        self._still_there()
        return b""

    def _arrived(self, until: float) -> bytes:
        waiting = self.adapter.to_host
        if not waiting or waiting[0][0] > until:
            return b""
        self._now_s = max(self._now_s, waiting[0][0])
        result = bytearray()
        while waiting and waiting[0][0] <= self._now_s:
            result.append(waiting.popleft()[1])
        return bytes(result)

    def _run(self, until: float) -> bool:
        """Run to `until`, or to the next printed character; whether the processor is not there yet."""
        goal = int(until * self.clock_hz)
        while self.processor.cycles < goal:
            printed = self.display.printed
            reset = int(self._resets[0] * self.clock_hz) if self._resets else goal
            self.processor.run(min(goal, reset))
            if self._resets and self.processor.cycles >= reset:
                self._resets.pop(0)
                self.processor.reset()
            if self.display.printed != printed:
                return True
        return False

    def _still_there(self) -> None:
        if not self._open:
            raise PortLost(f"{self.name} is closed")
        if self._cut_s is not None and self._now_s >= self._cut_s:
            self._drop_under_way(self._cut_s)
            raise PortLost(f"{self.name}: the link is cut")

    def _drop_under_way(self, cut_s: float) -> None:
        keys = self.keyboard.arrivals
        while keys and keys[-1][0] > cut_s * self.clock_hz:
            keys.pop()
        self.adapter.to_host.clear()

    def close(self) -> None:
        """The channel is given back; the board's memory can still be looked at."""
        self._open = False

    def wakes_s(self) -> float:
        """When the board wants to be read next, if the host sends nothing: a time on its clock, inf for
        never, or a time that is past while a program is at work."""
        waits = [self.adapter.to_host[0][0]] if self.adapter.to_host else []
        if self._resets:
            waits.append(self._resets[0])
        if self._cut_s is not None:
            waits.append(self._cut_s)
        if not self.processor.idle:
            return 0.0
        # The event it waits for may have come since it polled last: only its next poll will show. Two cycles
        # are added so that the time, rounded, is after the event, and after the last instruction.
        arrivals = self.keyboard.arrivals
        event = min(self.processor.idle_until, arrivals[0][0] if arrivals else float("inf"))
        return min([*waits, (max(event, self.processor.cycles) + 2) / self.clock_hz])

    # ---- for tests and for whoever serves it ---------------------------------------------------------

    def memory(self, first: int, last: int) -> bytes:
        """What the addresses really hold, registers not touched; holes as they read."""
        wanted = Range(first, last)
        return bytes(self.bus.look(address) for address in range(wanted.first, wanted.last + 1))

    def poke(self, first: int, data: bytes) -> None:
        """Put bytes into RAM from outside, as writes of the processor would go; no register is touched."""
        Range(first, first + len(data) - 1)
        for address, value in enumerate(data, first):
            self.bus.put(address, value)
        self.bus.changes += 1

    def reset(self) -> None:
        """Press the reset key now."""
        self.processor.reset()

    def cut(self) -> None:
        """Cut the link now; what is under way is lost."""
        self._cut_s = self._now_s

    def restore(self) -> None:
        """Plug the link in again, and open the port again if it was closed."""
        if self._cut_s is not None:
            self._drop_under_way(self._cut_s)
            self._cut_s = None
        self._open = True

    def statistics(self) -> Statistics:
        """What happened so far."""
        self._settle()
        return Statistics(
            keys_sent=self.adapter.sent,
            keys_lost=self.adapter.lost,
            keys_arrived=self.keyboard.arrived,
            keys_taken=self.keyboard.taken,
            overruns=self.keyboard.overruns,
            printed=self.display.printed,
            prints_lost=self.display.lost,
            cycles=self.processor.cycles,
            skipped=self.processor.skipped,
            stopped=self.processor.stopped,
        )
