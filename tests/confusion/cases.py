"""Cases: a fault, how it is measured, and what must be said of it. Drawn from a seed.

The classes are those of the memory test literature (A. J. van de Goor, IEEE Design &
Test 10(1), 1993, 8-14): stuck-at faults, bridged lines, address decoder faults (an address reaches no cell,
another cell, or a cell that others reach too); with bits that are unsteady and bytes of a ROM.
Faults that stop the monitor itself cannot be measured through it and are not drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random
from typing import Literal

from formats.image import Range
from linktool import machine as profiles
from linktool.causes import Cause
from linktool.machine import Machine

Method = Literal["pattern", "check", "survey", "close", "rom"]
SEED = 1975
MACHINES = ("heron", "dot")


@dataclass(frozen=True)
class Case:
    """name: the class. spec: the board's fault, "" for none. causes: any of these is right, told by kind,
    banks, bits, lines and level; none means that no memory fault may be named. chip: the position that must
    be named, where the profile can tell."""

    number: int
    name: str
    machine: Machine
    spec: str
    method: Method
    causes: tuple[Cause, ...]
    chip: str | None = None
    near: int = 0


ALL = tuple(range(8))


def beyond(each: int = 8) -> list[Case]:
    """Faults that are none of the classes, or two at once: only what is said of chips is judged. chip: the
    positions that are really bad, with a blank between."""
    found: list[Case] = []
    for name in MACHINES:
        machine = profiles.load(name)
        for build in BEYOND:
            random = Random(f"{SEED} {name} {build.__name__}")
            found += [build(len(found) + turn, machine, random) for turn in range(each)]
    return found


def cases(each: int = 8) -> list[Case]:
    """All cases: `each` of every class on every machine that can have it."""
    found: list[Case] = []
    for name in MACHINES:
        machine = profiles.load(name)
        for build in BUILDERS:
            random = Random(f"{SEED} {name} {build.__name__}")
            for _ in range(each):
                case = build(len(found), machine, random)
                if case:
                    found.append(case)
    return found


def _banks(machine: Machine) -> list[Range]:
    """The banks of RAM without the monitor's memory in them."""
    ram = sorted({chip.range for chip in machine.chips if machine.kind_at(chip.range.first) == "ram"})
    return [bank for bank in ram if not any(area.range.overlap(bank) for area in machine.reserved)]


def _chip(machine: Machine, bank: Range, bit: int) -> str:
    return next(c.position for c in machine.chips if c.range == bank and c.bits == (bit,))


def stuck_chip(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, value = random.choice(_banks(machine)), random.randrange(8), random.randrange(2)
    chip = _chip(machine, bank, bit)
    method = random.choice(("pattern", "check", "survey"))
    cause = Cause("stuck", (bank,), (bit,), value=value)
    return Case(
        number,
        "bit stuck, one chip",
        machine,
        f"stuck-chip:{chip}:{value}",
        method,
        (cause,),
        chip,
        bank.first,
    )


def stuck_line(number: int, machine: Machine, random: Random) -> Case | None:
    banks = _banks(machine)
    if len(banks) < 2:
        return None
    bit, value = random.randrange(8), random.randrange(2)
    spec = f"stuck:{banks[0].first:04X}-{banks[-1].last:04X}:{bit}:{value}"
    cause = Cause("stuck", tuple(banks), (bit,), value=value)
    return Case(number, "bit stuck, several banks", machine, spec, "pattern", (cause,))


def joined_bits(number: int, machine: Machine, random: Random) -> Case:
    bank, (first, second), value = _two_bits(machine, random)
    spec = f"bits-shorted:{first}:{second}:{bank}:{('and', 'or')[value]}"
    method = random.choice(("pattern", "check"))
    cause = Cause("joined bits", (bank,), (first, second), value=value)
    return Case(number, "two data bits joined, one bank", machine, spec, method, (cause,), near=bank.first)


def joined_bits_before_banks(number: int, machine: Machine, random: Random) -> Case | None:
    banks = _banks(machine)
    if len(banks) < 2:
        return None
    _, (first, second), value = _two_bits(machine, random)
    spec = f"bits-shorted:{first}:{second}:{banks[0].first:04X}-{banks[-1].last:04X}:{('and', 'or')[value]}"
    cause = Cause("joined bits", tuple(banks), (first, second), value=value)
    return Case(number, "two data bits joined, several banks", machine, spec, "pattern", (cause,))


def _two_bits(machine: Machine, random: Random) -> tuple[Range, tuple[int, int], int]:
    first, second = sorted(random.sample(range(8), 2))
    return random.choice(_banks(machine)), (first, second), random.randrange(2)


def open_line(number: int, machine: Machine, random: Random) -> Case:
    bank, value = random.choice(_banks(machine)), random.randrange(2)
    method = random.choice(("pattern", "pattern", "check"))
    line = random.randrange(8 if method == "check" else 12)
    spec = f"address-open:{line}:{value}:{bank}"
    cause = Cause("dead line", (bank,), ALL, (line,))
    return Case(number, "address line open, one bank", machine, spec, method, (cause,), near=bank.first)


def open_line_before_all(number: int, machine: Machine, random: Random) -> Case:
    two_banks = len(_banks(machine)) == 1
    line = random.choice((10, 11, 12) if two_banks else (10, 11, 12, 13))
    right = [Cause("dead line", (), ALL, (line,))]
    if two_banks and line == 12:
        # With two banks, a dead line between them and a bank that answers for the other are the same thing.
        right.append(Cause("mirrored", (Range(0x1000, 0x1FFF),), ALL, other=Range(0, 0x0FFF)))
    return Case(
        number, "address line open, all RAM", machine, f"address-open:{line}:0", "pattern", tuple(right)
    )


def joined_lines(number: int, machine: Machine, random: Random) -> Case:
    bank, value = random.choice(_banks(machine)), random.randrange(2)
    first, second = sorted(random.sample(range(12), 2))
    spec = f"address-shorted:{first}:{second}:{bank}:{('and', 'or')[value]}"
    cause = Cause("joined lines", (bank,), ALL, (first, second), value)
    return Case(number, "two address lines joined", machine, spec, "pattern", (cause,))


def missing(number: int, machine: Machine, random: Random) -> Case:
    bank = random.choice(_banks(machine))
    method = random.choice(("pattern", "survey", "check"))
    cause = Cause("missing", (bank,), ALL)
    return Case(number, "bank missing", machine, f"bank-missing:{bank}", method, (cause,), near=bank.first)


def mirrored(number: int, machine: Machine, random: Random) -> Case:
    banks = _banks(machine)
    bank = random.choice(banks)
    source = random.choice([Range(0, 0x0FFF), *(each for each in banks if each < bank)])
    method = random.choice(("pattern", "survey"))
    right = [Cause("mirrored", (bank,), ALL, other=source)]
    if len(banks) == 1:
        right.append(Cause("dead line", (), ALL, (12,)))
    return Case(number, "bank mirrored", machine, f"mirror:{source}:{bank}", method, tuple(right))


def bad_cell(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, value, address = _cell(machine, random)
    spec, cause = f"stuck:{address:04X}:{bit}:{value}", Cause("cells", (bank,), (bit,), addresses=(address,))
    return Case(number, "one bad cell", machine, spec, "close", (cause,), _chip(machine, bank, bit), address)


def unsteady_cell(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, _, address = _cell(machine, random)
    spec = f"unsteady:{address:04X}:{bit}:{random.uniform(0.2, 0.6):.2f}"
    cause = Cause("unsteady", (bank,), (bit,), addresses=(address,))
    return Case(
        number, "one unsteady cell", machine, spec, "close", (cause,), _chip(machine, bank, bit), address
    )


def _cell(machine: Machine, random: Random) -> tuple[Range, int, int, int]:
    bank = random.choice(_banks(machine))
    return bank, random.randrange(8), random.randrange(2), random.randrange(bank.first, bank.last + 1)


def unsteady_chip(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, _, _ = _cell(machine, random)
    spec = f"unsteady:{bank}:{bit}:{random.uniform(0.05, 0.4):.2f}"
    cause = Cause("unsteady", (bank,), (bit,))
    return Case(
        number, "unsteady bit, one chip", machine, spec, "pattern", (cause,), _chip(machine, bank, bit)
    )


def bad_row(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, value, address = _cell(machine, random)
    row = address & ~0x3F
    spec = f"stuck:{row:04X}-{row + 0x3F:04X}:{bit}:{value}"
    cause = Cause("row", (bank,), (bit,))
    near = max(bank.first, row - 0x80)
    return Case(
        number, "bad row in a chip", machine, spec, "check", (cause,), _chip(machine, bank, bit), near
    )


def bad_rom(number: int, machine: Machine, random: Random) -> Case:
    address, value = random.choice((0xFFFA, 0xFFFB, 0xFFFE, 0xFFFF)), random.randrange(256)
    rom = Range(0xFF00, 0xFFFF)
    chip = next((chip.position for chip in machine.chips if chip.range == rom), None)
    cause = Cause("cells", (rom,), addresses=(address,))
    return Case(number, "bad ROM byte", machine, f"rom-bad:{address:04X}:{value:02X}", "rom", (cause,), chip)


def noise(number: int, machine: Machine, random: Random) -> Case:
    return Case(
        number, "link noise", machine, f"prints-changed:{random.uniform(0.001, 0.004):.4f}", "pattern", ()
    )


def healthy(number: int, machine: Machine, random: Random) -> Case:
    return Case(
        number, "in order", machine, "", random.choice(("pattern", "survey", "check")), (), near=0x1400
    )


def two_chips(number: int, machine: Machine, random: Random) -> Case:
    chips = [c for c in machine.chips if c.range in _banks(machine)]
    one, other = random.sample(chips, 2)
    spec = (
        f"stuck-chip:{one.position}:{random.randrange(2)} stuck-chip:{other.position}:{random.randrange(2)}"
    )
    method = random.choice(("pattern", "check", "survey"))
    bad = f"{one.position} {other.position}"
    return Case(number, "two bad chips", machine, spec, method, (), bad, one.range.first)


def chip_and_noise(number: int, machine: Machine, random: Random) -> Case:
    case = stuck_chip(number, machine, random)
    spec = f"{case.spec} prints-changed:{random.uniform(0.001, 0.005):.4f}"
    return replace(case, name="bad chip and link noise", spec=spec)


def transition(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, value, _ = _cell(machine, random)
    spec = f"transition:{bank}:{bit}:{('up', 'down')[value]}"
    return Case(number, "bit cannot rise or fall", machine, spec, "pattern", (), _chip(machine, bank, bit))


def forgets(number: int, machine: Machine, random: Random) -> Case:
    bank = random.choice(_banks(machine))
    spec = f"forgets:{bank}:0.0:{random.randrange(256):02X}"
    return Case(number, "bank forgets", machine, spec, "pattern", (), "")


def coupling(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, value, address = _cell(machine, random)
    other = address ^ 1
    spec = f"coupling:st:{other:04X}.{random.randrange(8)}:{random.randrange(2)}:{address:04X}.{bit}:{value}"
    return Case(
        number, "bit disturbs another", machine, spec, "close", (), _chip(machine, bank, bit), address
    )


def stuck_and_open_line(number: int, machine: Machine, random: Random) -> Case:
    bank, bit, value, _ = _cell(machine, random)
    spec = f"address-open:{random.randrange(12)}:0:{bank} stuck:{bank}:{bit}:{value}"
    return Case(number, "bad chip and open line", machine, spec, "pattern", (), _chip(machine, bank, bit))


def part_of_a_bank(number: int, machine: Machine, random: Random) -> Case:
    bank = random.choice(_banks(machine))
    first = bank.first + random.randrange(4) * 0x400
    spec = f"bank-missing:{first:04X}-{first + 0x3FF:04X}"
    return Case(number, "part of a bank missing", machine, spec, "pattern", (), "")


BEYOND = (two_chips, chip_and_noise, transition, forgets, coupling, stuck_and_open_line, part_of_a_bank)

BUILDERS = (
    stuck_chip,
    stuck_line,
    joined_bits,
    joined_bits_before_banks,
    open_line,
    open_line_before_all,
    joined_lines,
    missing,
    mirrored,
    bad_cell,
    unsteady_cell,
    unsteady_chip,
    bad_row,
    bad_rom,
    noise,
    healthy,
)
