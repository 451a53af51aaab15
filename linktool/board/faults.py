"""The table of faults the board can have: name, arguments, what each does, and how it is made from a spec.

    keys-lost:0.01      stuck:0280:3:0      stuck-chip:K4:1      reset-at:2.5s

A spec is a name and its arguments, with colons between; arguments in square brackets may be left out.
Addresses and ranges are hexadecimal (0280, 0280-02FF), bits are 0 to 7, address lines 0 to 15,
probabilities 0 to 1; a moment is seconds (2.5s) or a count of keys the host has sent (200).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import Literal, NoReturn

from formats.image import Range
from linktool.board import memory_faults as memory
from linktool.board import wire_faults as wire
from linktool.errors import UsageError
from linktool.machine import Machine
from linktool.toml_table import parse_address


@dataclass(frozen=True)
class Moment:
    """When something happens: seconds on the board's clock, or after so many keys sent by the host."""

    at_s: float | None = None
    keys: int | None = None


@dataclass
class Faults:
    """All faults of one board, sorted by where they act. rom: bytes a ROM reads instead."""

    memory: list[memory.MemoryFault] = field(default_factory=list)
    wire: list[wire.WireFault] = field(default_factory=list)
    resets: list[Moment] = field(default_factory=list)
    cuts: list[Moment] = field(default_factory=list)
    rom: dict[int, int] = field(default_factory=dict)


class _Arguments:
    """The arguments of one spec, taken one by one; what does not fit is a UsageError that names the spec."""

    def __init__(self, kind: FaultKind, words: list[str], machine: Machine, seed: str) -> None:
        self.kind, self.words, self.machine = kind, words, machine
        self.spec = ":".join([kind.name, *words])
        self.random = Random(f"{seed}:{self.spec}")

    def wrong(self, found: str, allowed: str) -> NoReturn:
        raise UsageError(
            f"fault {self.spec!r}: {found}; allowed: {allowed}",
            f"It is written {self.kind.form}: {self.kind.text}",
        )

    def word(self, what: str) -> str:
        if not self.words:
            self.wrong(f"{what} is missing", self.kind.form)
        return self.words.pop(0)

    def choice(self, what: str, *allowed: str) -> str:
        word = self.word(what)
        if word not in allowed:
            self.wrong(f"{what} is {word!r}", ", ".join(allowed))
        return word

    def level(self, what: str = "the value") -> bool:
        return self.choice(what, "0", "1") == "1"

    def wired(self) -> Literal["and", "or"]:
        return "or" if self.words and self.choice("the wiring", "and", "or") == "or" else "and"

    def whole(self, what: str, most: int) -> int:
        word = self.word(what)
        if not word.isascii() or not word.isdigit() or int(word) > most:
            self.wrong(f"{what} is {word!r}", f"0 to {most}")
        return int(word)

    def bit(self, what: str = "the bit") -> int:
        return 1 << self.whole(what, 7)

    def line(self) -> int:
        return 1 << self.whole("the address line", 15)

    def number(self, what: str, least: float, most: float, word: str = "") -> float:
        word = word or self.word(what)
        try:
            value = float(word)
        except ValueError:
            value = -1.0
        if not least <= value <= most:
            self.wrong(f"{what} is {word!r}", f"a number from {least:g} to {most:g}")
        return value

    def probability(self) -> float:
        return self.number("the probability", 0, 1)

    def seconds(self) -> float:
        return self.number("the time", 0, 1e6, self.word("the time").removesuffix("s"))

    def address(self, word: str = "") -> int:
        word = word or self.word("the address")
        value = parse_address(word)
        if value is None:
            self.wrong(f"{word!r} is no address", "0000 to FFFF, hexadecimal")
        return value

    def range(self) -> Range:
        word = self.word("the range")
        first, separator, last = word.partition("-")
        start = self.address(first)
        end = self.address(last) if separator else start
        if end < start:
            self.wrong(f"range {word} runs backwards", "first-last, or one address")
        return Range(start, end)

    def ram(self) -> Range:
        """A range, or all of the machine's RAM when none is given."""
        if self.words and self.words[0] not in ("and", "or"):
            return self.range()
        areas = [area.range for area in self.machine.areas if area.kind == "ram"]
        if not areas:
            self.wrong("the machine has no RAM", "a range")
        return Range(min(a.first for a in areas), max(a.last for a in areas))

    def place(self, what: str) -> memory.Bit:
        word = self.word(what)
        address, separator, bit = word.partition(".")
        if not separator or bit not in tuple("01234567"):
            self.wrong(f"{what} is {word!r}", "ADDRESS.BIT, such as 0280.3")
        return memory.Bit(self.address(address), 1 << int(bit))

    def byte(self) -> int:
        word = self.word("the value")
        value = parse_address(word)
        if value is None or value > 0xFF:
            self.wrong(f"the value is {word!r}", "00 to FF, hexadecimal")
        return value

    def moment(self) -> Moment:
        word = self.word("the moment")
        if word.endswith("s"):
            return Moment(at_s=self.number("the moment", 0, 1e6, word[:-1]))
        if not word.isascii() or not word.isdigit():
            self.wrong(f"the moment is {word!r}", "seconds such as 2.5s, or a count of keys such as 200")
        return Moment(keys=int(word))

    def close(self) -> None:
        if self.words:
            self.wrong(f"{self.words[0]!r} is too much", self.kind.form)


@dataclass(frozen=True)
class FaultKind:
    """One row of the table."""

    name: str
    arguments: str
    text: str
    build: Callable[[_Arguments, Faults], None]

    @property
    def form(self) -> str:
        """How a spec of it is written."""
        return f"{self.name}:{self.arguments}"


def _noise(way: wire.Way, kind: wire.Kind) -> Callable[[_Arguments, Faults], None]:
    def build(take: _Arguments, faults: Faults) -> None:
        faults.wire.append(wire.Noise(way, kind, take.probability(), take.random))

    return build


def _burst(take: _Arguments, faults: Faults) -> None:
    faults.wire.append(wire.LatencyBurst(take.seconds(), take.probability(), take.random))


def _stuck(take: _Arguments, faults: Faults) -> None:
    faults.memory.append(memory.Stuck(take.range(), take.bit(), take.level()))


def _stuck_chip(take: _Arguments, faults: Faults) -> None:
    position = take.word("the position")
    chips = [chip for chip in take.machine.chips if chip.position.lower() == position.lower()]
    if not chips:
        known = ", ".join(chip.position for chip in take.machine.chips) or "none in this profile"
        take.wrong(f"no chip is at {position!r}", known)
    ones = take.level()
    for chip in chips:
        mask = sum(1 << bit for bit in chip.bits)
        faults.memory.append(memory.Stuck(chip.range, mask, ones))


def _bits_shorted(take: _Arguments, faults: Faults) -> None:
    first, second = take.bit(), take.bit("the second bit")
    reach = take.ram()
    faults.memory.append(memory.Shorted(reach, first, second, take.wired()))


def _address_open(take: _Arguments, faults: Faults) -> None:
    line, ones = take.line(), take.level()
    faults.memory.append(memory.AddressOpen(take.ram(), line, ones))


def _address_shorted(take: _Arguments, faults: Faults) -> None:
    first, second = take.line(), take.line()
    reach = take.ram()
    faults.memory.append(memory.AddressShorted(reach, first, second, take.wired()))


def _bank_missing(take: _Arguments, faults: Faults) -> None:
    faults.memory.append(memory.Missing(take.range()))


def _mirror(take: _Arguments, faults: Faults) -> None:
    source = take.range()
    faults.memory.append(memory.Mirror(take.range(), source))


def _unsteady(take: _Arguments, faults: Faults) -> None:
    faults.memory.append(memory.Unsteady(take.range(), take.bit(), take.probability(), take.random))


def _forgets(take: _Arguments, faults: Faults) -> None:
    reach, hold_s = take.range(), take.seconds()
    faults.memory.append(memory.Forgets(reach, hold_s, take.byte() if take.words else 0))


def _transition(take: _Arguments, faults: Faults) -> None:
    reach, mask = take.range(), take.bit()
    faults.memory.append(memory.Transition(reach, mask, take.choice("the way", "up", "down") == "up"))


def _coupling(take: _Arguments, faults: Faults) -> None:
    kind = take.choice("the kind", "in", "id", "st")
    aggressor = take.place("the aggressor")
    if kind == "st":
        when = take.level("the aggressor's level")
    else:
        when = take.choice("the aggressor's edge", "up", "down") == "up"
    victim = take.place("the victim")
    if victim == aggressor:
        take.wrong("the victim is the aggressor", "two bits that differ")
    force = None if kind == "in" else take.level("the victim's value")
    low, high = sorted((aggressor.address, victim.address))
    reach = Range(low, high)
    if force is not None and kind == "st":
        faults.memory.append(memory.CouplingState(reach, aggressor, victim, when, force))
    else:
        faults.memory.append(memory.CouplingEdge(reach, aggressor, victim, when, force))


def _rom_bad(take: _Arguments, faults: Faults) -> None:
    address = take.address()
    if take.machine.kind_at(address) != "rom":
        take.wrong(f"no ROM is at {address:04X}", "an address within a ROM of the machine")
    faults.rom[address] = take.byte()


def _reset_at(take: _Arguments, faults: Faults) -> None:
    faults.resets.append(take.moment())


def _cut_at(take: _Arguments, faults: Faults) -> None:
    faults.cuts.append(take.moment())


FAULTS: tuple[FaultKind, ...] = (
    FaultKind("keys-lost", "PROBABILITY", "keys that never reach the board", _noise("keys", "lost")),
    FaultKind("keys-doubled", "PROBABILITY", "keys that arrive twice", _noise("keys", "doubled")),
    FaultKind("keys-changed", "PROBABILITY", "keys with one bit turned", _noise("keys", "changed")),
    FaultKind("prints-lost", "PROBABILITY", "characters the host never gets", _noise("prints", "lost")),
    FaultKind("prints-doubled", "PROBABILITY", "characters the host gets twice", _noise("prints", "doubled")),
    FaultKind("prints-changed", "PROBABILITY", "characters with one bit turned", _noise("prints", "changed")),
    FaultKind("latency-burst", "SECONDS:PROBABILITY", "bytes that are held back so long", _burst),
    FaultKind("stuck", "RANGE:BIT:VALUE", "a bit that always is 0 or 1", _stuck),
    FaultKind("stuck-chip", "POSITION:VALUE", "a chip whose outputs always are 0 or 1", _stuck_chip),
    FaultKind("transition", "RANGE:BIT:up|down", "a bit that cannot rise, or cannot fall", _transition),
    FaultKind("bits-shorted", "BIT:BIT[:RANGE][:and|or]", "two data lines that touch", _bits_shorted),
    FaultKind("address-open", "LINE:VALUE[:RANGE]", "an address line that reads 0 or 1", _address_open),
    FaultKind(
        "address-shorted", "LINE:LINE[:RANGE][:and|or]", "two address lines that touch", _address_shorted
    ),
    FaultKind("bank-missing", "RANGE", "memory that is not fitted", _bank_missing),
    FaultKind("mirror", "RANGE:RANGE", "a second range that shows the first one's cells", _mirror),
    FaultKind("unsteady", "RANGE:BIT:PROBABILITY", "a bit that now and then reads wrong", _unsteady),
    FaultKind("forgets", "RANGE:SECONDS[:VALUE]", "cells that lose their value after a while", _forgets),
    FaultKind(
        "coupling",
        "in:CELL:up|down:CELL, id:CELL:up|down:CELL:VALUE or st:CELL:VALUE:CELL:VALUE",
        "a bit that disturbs another one (a CELL is ADDRESS.BIT)",
        _coupling,
    ),
    FaultKind("rom-bad", "ADDRESS:VALUE", "a ROM byte that reads wrong", _rom_bad),
    FaultKind("reset-at", "MOMENT", "the reset key is pressed", _reset_at),
    FaultKind("cut-at", "MOMENT", "the link goes dead", _cut_at),
)


def parse(specs: tuple[str, ...] | list[str], machine: Machine, seed: int) -> Faults:
    """The faults of a board from their specs. UsageError names the spec and what is allowed."""
    kinds = {kind.name: kind for kind in FAULTS}
    faults = Faults()
    for number, spec in enumerate(specs):
        name, *words = spec.split(":")
        kind = kinds.get(name)
        if kind is None:
            raise UsageError(f"no fault is called {name!r}", f"Known faults: {', '.join(kinds)}")
        take = _Arguments(kind, words, machine, f"{seed}:{number}")
        kind.build(take, faults)
        take.close()
    return faults
