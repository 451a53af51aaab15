"""The adapter between the host's serial port and the board: rate, latency, jitter, and its faults. Seconds.

To the board: a byte sent at t is at the keyboard at max(previous, t + latency) + one character's time.
To the host: a character printed at t arrives at max(previous, t) + one character's time + latency.
An adapter with a `strobe` cannot give two keys closer together than that: the second is lost.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from random import Random

from linktool.board.wire_faults import WireFault
from linktool.machine import Machine, frame_bits

NEWLINES = {"cr": b"\r", "lf": b"\n", "crlf": b"\r\n"}


@dataclass(frozen=True)
class Wire:
    """How the adapter is set: baud, bits a character on the wire, seconds."""

    rate: int
    bits: int
    latency_s: float = 0.002
    jitter_s: float = 0.0
    strobe_s: float = 0.0

    @property
    def character_s(self) -> float:
        return self.bits / self.rate


class Adapter:
    """Both directions. `to_host` holds (time, byte) in order, as they will arrive."""

    def __init__(self, machine: Machine, wire: Wire, faults: tuple[WireFault, ...], random: Random) -> None:
        self.wire = wire
        self.faults = faults
        self.to_host: deque[tuple[float, int]] = deque()
        self.sent = 0
        self.lost = 0
        self._random = random
        self._newline = NEWLINES[machine.link.newline]
        self._echo = machine.link.echo
        self._mark = 0x80 if machine.keys.high_bit else 0
        self._mask = 0x7F if machine.link.frame.startswith("7") else 0xFF
        self._down_s = 0.0
        self._presented_s = float("-inf")
        self._up_s = 0.0
        self._host_s = 0.0

    def heard(self, echo: bool) -> None:
        """Whether what the board prints comes to the host from now on."""
        self._echo = echo

    def _delay(self) -> float:
        delay = self.wire.latency_s
        if self.wire.jitter_s:
            delay += self._random.uniform(0.0, self.wire.jitter_s)
        for fault in self.faults:
            delay += fault.delay()
        return delay

    def key(self, at_s: float, byte: int) -> list[tuple[float, int]]:
        """A byte the host sends: the keys that come of it, with the time each is at the keyboard."""
        self.sent += 1
        codes = [byte]
        for fault in self.faults:
            codes = [changed for code in codes for changed in fault.key(code)]
        self.lost += not codes
        keys = []
        for code in codes:
            self._down_s = max(self._down_s, at_s + self._delay()) + self.wire.character_s
            unmarked = self._mark and not code & self._mark
            if unmarked or self._down_s - self._presented_s < self.wire.strobe_s:
                self.lost += 1
            else:
                self._presented_s = self._down_s
                keys.append((self._down_s, code & 0x7F))
        return keys

    def printed(self, at_s: float, code: int) -> None:
        """A character the board prints."""
        if not self._echo:
            return
        codes = [code]
        for fault in self.faults:
            codes = [changed for one in codes for changed in fault.print(one)]
        for one in codes:
            for byte in self._newline if one == 0x0D else (one,):
                self._up_s = max(self._up_s, at_s) + self.wire.character_s
                self._host_s = max(self._host_s, self._up_s + self._delay())
                self.to_host.append((self._host_s, byte & self._mask))


def wire_of(machine: Machine, **settings: float) -> Wire:
    """The wire as the profile's link has it, with `settings` in place of its own."""
    return Wire(**{"rate": machine.link.rate, "bits": frame_bits(machine.link.frame), **settings})  # type: ignore[arg-type]
