"""A port with a monitor behind it, at the level of characters: for tests of the conversation alone.

It follows the transcripts of the colon-dash dialect, written down by hand, on a virtual clock: a key
register for one key, a display that takes one character a period, an adapter with latency. Single keys
and printed characters can be lost, changed or doubled by their number. It runs no 6502 code.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable

from linktool.errors import PortLost

Fault = Callable[[int, str], str]
"""(number, character) -> what becomes of it: "" lost, another character, or several."""


class FakeMonitor:
    """`keys` is all that the monitor took, as text; `memory` what was deposited, `deposited` the same in
    order, so that a wrong byte that was mended later still shows."""

    name = "fake:"

    def __init__(
        self,
        latency_s: float = 0.002,
        period_s: float = 1 / 60,
        character_s: float = 1 / 240,
        key_fault: Fault = lambda number, key: key,
        print_fault: Fault = lambda number, character: character,
    ) -> None:
        self.latency_s, self.period_s, self.character_s = latency_s, period_s, character_s
        self.key_fault, self.print_fault = key_fault, print_fault
        self.memory: dict[int, int] = {}
        self.deposited: list[tuple[int, int]] = []
        self.keys = ""
        self.overruns = 0
        self.cut = False
        self._now = 0.0
        self._keys_sent = self._printed = 0
        self._arrivals: deque[tuple[float, str]] = deque()
        self._output: deque[tuple[float, str]] = deque()
        self._last_arrival = self._last_output = 0.0
        self._register = ""
        self._busy_until = 0.0
        self._to_print = ""
        self._buffer = ""
        self._place = 0
        self._program: Callable[[str], str] | None = None

    # ---- the port ---------------------------------------------------------------------------

    def now(self) -> float:
        return self._now

    def write(self, data: bytes) -> None:
        if self.cut:
            raise PortLost("the cable was pulled")
        for key in data.decode("ascii"):
            self._keys_sent += 1
            at = max(self._last_arrival, self._now + self.latency_s) + self.character_s
            for offset, became in enumerate(self.key_fault(self._keys_sent, key)):
                self._arrivals.append((at + offset * self.character_s, became))
            self._last_arrival = at

    def read(self, until: float) -> bytes:
        if self.cut:
            raise PortLost("the cable was pulled")
        while True:
            if self._output and self._output[0][0] <= self._now:
                ready = ""
                while self._output and self._output[0][0] <= self._now:
                    ready += self._output.popleft()[1]
                return ready.encode("ascii")
            if self._now >= until:
                return b""
            self._step(until)

    def close(self) -> None:
        pass

    # ---- the machine ------------------------------------------------------------------------

    def _step(self, until: float) -> None:
        """Go to the next thing that happens, at most to `until`."""
        due = [until]
        if self._output:
            due.append(self._output[0][0])
        if self._arrivals:
            due.append(self._arrivals[0][0])
        if self._to_print:
            due.append(self._busy_until)
        self._now = max(self._now, min(due))
        while self._arrivals and self._arrivals[0][0] <= self._now:
            if self._register:
                self.overruns += 1
            self._register = self._arrivals.popleft()[1]
        while True:
            if self._to_print:
                if self._busy_until > self._now:
                    return
                self._print(self._to_print[0])
                self._to_print = self._to_print[1:]
            elif self._register:
                key, self._register = self._register, ""
                self.keys += key
                self._to_print = self._program(key) if self._program else self._take(key)
            else:
                return

    def _print(self, character: str) -> None:
        self._printed += 1
        self._busy_until = self._now + self.period_s
        at = max(self._last_output, self._now) + self.character_s
        self._last_output = at
        for became in self.print_fault(self._printed, character):
            self._output.append((at + self.latency_s, became))

    def _take(self, key: str) -> str:
        if key == "\x1b":
            self._buffer = ""
            return "?\r="
        if key == "_":
            if not self._buffer:
                return "_?\r="
            self._buffer = self._buffer[:-1]
            return "_"
        if key == "\r":
            line, self._buffer = self._buffer, ""
            return "\r" + self._answer(line)
        if len(self._buffer) == 127:
            self._buffer = ""
            return "?\r="
        self._buffer += key
        return key

    def _answer(self, line: str) -> str:
        if not line:
            return "="
        if deposit := re.fullmatch(r"([0-9A-F]*):([0-9A-F ]*)", line):
            if deposit[1]:
                self._place = int(deposit[1][-4:], 16)
            for word in deposit[2].split():
                self.memory[self._place] = int(word[-2:], 16)
                self.deposited.append((self._place, self.memory[self._place]))
                self._place += 1
            return "="
        if examine := re.fullmatch(r"([0-9A-F]+)(?:-([0-9A-F]+))?", line):
            at, last = int(examine[1], 16), int(examine[2] or examine[1], 16)
            rows = ""
            while at <= last:
                end = min(at | 7, last)
                cells = " ".join(f"{self.memory.get(a, 0xFF):02X}" for a in range(at, end + 1))
                rows += f"{at:04X}: {cells}\r"
                at = end + 1
            return rows + "="
        if re.fullmatch(r"[0-9A-F]+G", line):
            self._program = lambda key: ""
            return "HELLO FROM THE BENCH\r\r="
        return "?\r="
