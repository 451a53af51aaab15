"""The table of faults the board can have: name, arguments, what each does, and how it is made from a spec.

    keys-lost:0.01      stuck:0280:3:0      stuck-chip:K4:1      reset-at:2.5s

A spec is a name and its arguments, with colons between; arguments in square brackets may be left out.
How each argument is written stands in fault_arguments.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from formats.image import Range
from linktool.board import memory_faults as memory
from linktool.board import wire_faults as wire
from linktool.board.fault_arguments import Arguments, Moment
from linktool.errors import UsageError
from linktool.machine import Machine


@dataclass
class Faults:
    """All faults of one board, sorted by where they act. rom: bytes a ROM reads instead."""

    memory: list[memory.MemoryFault] = field(default_factory=list)
    wire: list[wire.WireFault] = field(default_factory=list)
    resets: list[Moment] = field(default_factory=list)
    cuts: list[Moment] = field(default_factory=list)
    rom: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class FaultKind:
    """One row of the table."""

    name: str
    arguments: str
    text: str
    build: Callable[[Arguments, Faults], None]

    @property
    def form(self) -> str:
        """How a spec of it is written."""
        return f"{self.name}:{self.arguments}"


def _noise(way: wire.Way, kind: wire.Kind) -> Callable[[Arguments, Faults], None]:
    def build(take: Arguments, faults: Faults) -> None:
        faults.wire.append(wire.Noise(way, kind, take.probability(), take.random))

    return build


def _burst(take: Arguments, faults: Faults) -> None:
    faults.wire.append(wire.LatencyBurst(take.seconds(), take.probability(), take.random))


def _stuck(take: Arguments, faults: Faults) -> None:
    faults.memory.append(memory.Stuck(take.range(), take.bit(), take.level()))


def _stuck_chip(take: Arguments, faults: Faults) -> None:
    position = take.word("the position")
    chips = [chip for chip in take.machine.chips if chip.position.lower() == position.lower()]
    if not chips:
        known = ", ".join(chip.position for chip in take.machine.chips) or "none in this profile"
        take.wrong(f"no chip is at {position!r}", known)
    ones = take.level()
    for chip in chips:
        mask = sum(1 << bit for bit in chip.bits)
        faults.memory.append(memory.Stuck(chip.range, mask, ones))


def _bits_shorted(take: Arguments, faults: Faults) -> None:
    first, second = take.bit(), take.bit("the second bit")
    reach = take.ram()
    faults.memory.append(memory.Shorted(reach, first, second, take.wired()))


def _address_open(take: Arguments, faults: Faults) -> None:
    line, ones = take.line(), take.level()
    faults.memory.append(memory.AddressOpen(take.ram(), line, ones))


def _address_shorted(take: Arguments, faults: Faults) -> None:
    first, second = take.line(), take.line()
    reach = take.ram()
    faults.memory.append(memory.AddressShorted(reach, first, second, take.wired()))


def _bank_missing(take: Arguments, faults: Faults) -> None:
    faults.memory.append(memory.Missing(take.range()))


def _mirror(take: Arguments, faults: Faults) -> None:
    source = take.range()
    faults.memory.append(memory.Mirror(take.range(), source))


def _unsteady(take: Arguments, faults: Faults) -> None:
    faults.memory.append(memory.Unsteady(take.range(), take.bit(), take.probability(), take.random))


def _forgets(take: Arguments, faults: Faults) -> None:
    reach, hold_s = take.range(), take.seconds()
    faults.memory.append(memory.Forgets(reach, hold_s, take.byte() if take.words else 0))


def _transition(take: Arguments, faults: Faults) -> None:
    reach, mask = take.range(), take.bit()
    faults.memory.append(memory.Transition(reach, mask, take.choice("the way", "up", "down") == "up"))


def _coupling(take: Arguments, faults: Faults) -> None:
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


def _rom_bad(take: Arguments, faults: Faults) -> None:
    address = take.address()
    if take.machine.kind_at(address) != "rom":
        take.wrong(f"no ROM is at {address:04X}", "an address within a ROM of the machine")
    faults.rom[address] = take.byte()


def _reset_at(take: Arguments, faults: Faults) -> None:
    faults.resets.append(take.moment())


def _cut_at(take: Arguments, faults: Faults) -> None:
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
        name = spec.partition(":")[0]
        kind = kinds.get(name)
        if kind is None:
            raise UsageError(f"no fault is called {name!r}", f"Known faults: {', '.join(kinds)}")
        take = Arguments(spec, kind.form, kind.text, machine, f"{seed}:{number}")
        kind.build(take, faults)
        take.close()
    return faults
