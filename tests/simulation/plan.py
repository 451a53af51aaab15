"""What a plain session will be, drawn from its seed: machine, image, link, faults, and a person's steps.

What is drawn on top of it stands in extras.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from random import Random

from formats import files
from formats.image import Image, Range
from linktool import machine as profiles
from linktool.board.adapter import Wire
from linktool.machine import Machine, frame_bits, with_link
from tests.simulation.wire import KINDS, Disturbance

LETTERS = Path(__file__).parent.parent / "linktool" / "letters.toml"
MACHINES = ("heron", "dot", "letters")
FIRST = ("enter", "enter by receiver", "enter without check", "check", "check by checker", "read")
THEN = ("check", "check by checker", "read", "run", "enter", "enter by receiver", "resume")
MOMENTS = ("reset", "cut", "ctrl-c", "ctrl-c twice", "kill")


@dataclass(frozen=True)
class Moment:
    """Something that happens within a step: after so many keys sent, or seconds after it began."""

    kind: str
    keys: int | None = None
    after_s: float | None = None


@dataclass(frozen=True)
class Step:
    """One command. work: which. moments: what happens meanwhile. address: where a run begins. ranges: where a
    test looks."""

    work: str
    moments: tuple[Moment, ...] = ()
    address: int = 0
    fresh: bool = True
    """Whether the command is a process of its own, or the next one in a shell."""
    ranges: tuple[Range, ...] = ()


@dataclass(frozen=True)
class Plan:
    """A whole session. machine: the profile; built: the board as it really is. changed: addresses whose bytes
    are altered where the image is there beforehand."""

    seed: int
    machine: Machine
    built: Machine
    image: Image
    wire: Wire
    display_cps: float
    clock_hz: float
    disturbance: Disturbance
    memory_faults: tuple[str, ...]
    there: bool
    changed: tuple[int, ...]
    steps: tuple[Step, ...]
    random: Random = field(repr=False, compare=False, default_factory=Random)


@cache
def machine_named(name: str) -> Machine:
    return profiles.load(str(LETTERS) if name == "letters" else name)


@cache
def rom_of(name: str) -> Image | None:
    """The monitor of a machine that does not bring its own."""
    if name != "letters":
        return None
    return files.load(LETTERS.with_suffix(".s"), symbols=machine_named(name).symbols).image


LARGEST = 400
"""Bytes a stretch of an image at most."""


def draw(seed: int, largest: int = LARGEST) -> Plan:
    """The session of that seed; with a smaller `largest` a shorter one."""
    random = Random(f"session {seed}")
    machine = machine_named(random.choices(MACHINES, (5, 4, 2))[0])
    wire, machine = _link(random, machine)
    image = _image(random, machine, largest)
    faults = memory_faults(random, machine, image) if random.random() < 0.3 else ()
    steps = _steps(random, machine, image)
    there = steps[0].work.startswith(("check", "read")) or random.random() < 0.1
    addresses = [address for address, _ in image.cells()]
    altered = min(len(addresses), random.choice((0, 0, 1, 1, 2, 5))) if there else 0
    changed = random.sample(addresses, altered)
    return Plan(
        seed=seed,
        machine=machine,
        built=machine,
        image=image,
        wire=wire,
        display_cps=random.choices((60.0, 30.0, 120.0, 250.0), (7, 1, 1, 1))[0],
        clock_hz=random.choice((200_000.0, 500_000.0, 1_000_000.0)),
        disturbance=_disturbance(random),
        memory_faults=faults,
        there=there,
        changed=tuple(changed),
        steps=steps,
        random=random,
    )


def _link(random: Random, machine: Machine) -> tuple[Wire, Machine]:
    rate = random.choice((600, 1200, 2400, 2400, 4800, 9600))
    latency_s = random.choice((0.0, 0.001, 0.002, 0.004, 0.016, 0.016, 0.04, 0.1))
    jitter_s = random.choice((0.0, 0.0, 0.0, 0.002, 0.01, 0.03))
    wire = Wire(rate, frame_bits(machine.link.frame), latency_s, jitter_s)
    if random.random() < 0.15:
        machine = with_link(machine, window=random.choice((1, 2, 3)))
    if random.random() < 0.05:
        machine = with_link(machine, key_delay_s=random.choice((0.005, 0.03)))
    return wire, with_link(machine, rate=rate)


def free_stretches(machine: Machine) -> list[Range]:
    """RAM that is not reserved."""
    taken = sorted(each.range for each in machine.reserved)
    found = []
    for area in machine.areas:
        if area.kind != "ram":
            continue
        at = area.range.first
        for each in taken:
            if each.first > at and at in area.range:
                found.append(Range(at, min(each.first - 1, area.range.last)))
            at = max(at, each.last + 1)
        if at in area.range:
            found.append(Range(at, area.range.last))
    return found


def _image(random: Random, machine: Machine, largest: int) -> Image:
    stretches = free_stretches(machine)
    image = Image()
    for _ in range(random.choices((1, 2, 3), (6, 3, 1))[0]):
        size = random.choices(
            (random.randint(1, 8), random.randint(9, 64), random.randint(65, 400)), (2, 6, 2)
        )[0]
        where = random.choices(stretches, [len(each) ** 0.5 for each in stretches])[0]
        size = min(size, len(where), largest)
        if random.random() < 0.3:
            first = random.choice((where.first, where.last - size + 1))
        else:
            first = random.randint(where.first, where.last - size + 1)
        image = image.overlay(Image.from_bytes(first, _contents(random, size)), "replace")
    return image


def _contents(random: Random, size: int) -> bytes:
    kind = random.choices(("any", "same", "few"), (6, 1, 2))[0]
    if kind == "any":
        return random.randbytes(size)
    values = bytes(random.sample(range(0x100), 1 if kind == "same" else 3))
    return bytes(random.choice(values) for _ in range(size))


def _disturbance(random: Random) -> Disturbance:
    kind = random.choices(("none", "one", "few", "many"), (2, 3, 4, 2))[0]
    if kind == "none":
        return Disturbance()
    if kind == "one":
        way = random.choice(("keys", "prints"))
        return Disturbance(singles={(way, random.randint(1, 600)): random.choice(KINDS)})
    highest = 0.003 if kind == "few" else 0.02
    names = [f"{way} {each}" for way in ("keys", "prints") for each in KINDS]
    chosen = random.sample(names, random.randint(1, 4))
    rates = {name: highest * 10 ** -random.uniform(0, 1.5) for name in chosen}
    late = random.random() < 0.3
    return Disturbance(
        rates=rates,
        burst=random.choice((0.0, 0.0, 0.0005)),
        late=10 ** -random.uniform(1.5, 3) if late else 0.0,
        late_s=random.choice((0.05, 0.3, 1.5)),
    )


# ---- memory that is bad ------------------------------------------------------------------------------


def memory_faults(random: Random, machine: Machine, image: Image) -> tuple[str, ...]:
    """Specs of one or two faults, mostly in cells of the image."""
    build = random.choices(
        (_stuck, _unsteady, _forgets, _transition, _coupled, _chip, _lines, _missing),
        (4, 3, 2, 2, 2, 2, 2, 1),
    )[0]
    return tuple(build(random, machine, image) for _ in range(random.choice((1, 1, 2))))


def _somewhere(random: Random, image: Image) -> int:
    """Mostly an address of the image."""
    address = random.choice([address for address, _ in image.cells()])
    return max(0, min(0xFFFF, address + random.choice((0, 0, 0, 0, 1, -1))))


def _stuck(random: Random, machine: Machine, image: Image) -> str:
    return f"stuck:{_somewhere(random, image):04X}:{random.randrange(8)}:{random.randrange(2)}"


def _unsteady(random: Random, machine: Machine, image: Image) -> str:
    often = random.choice((0.01, 0.1, 0.5))
    return f"unsteady:{_somewhere(random, image):04X}:{random.randrange(8)}:{often}"


def _forgets(random: Random, machine: Machine, image: Image) -> str:
    hold_s, leaves = random.choice((0.5, 5, 60)), random.choice(("00", "FF"))
    return f"forgets:{_somewhere(random, image):04X}:{hold_s}:{leaves}"


def _transition(random: Random, machine: Machine, image: Image) -> str:
    return f"transition:{_somewhere(random, image):04X}:{random.randrange(8)}:{random.choice(('up', 'down'))}"


def _coupled(random: Random, machine: Machine, image: Image) -> str:
    one = f"{_somewhere(random, image):04X}.{random.randrange(4)}"
    other = f"{_somewhere(random, image):04X}.{4 + random.randrange(4)}"
    if random.random() < 0.5:
        one, other = other, one
    edge, value = random.choice(("up", "down")), random.randrange(2)
    return random.choice(
        (
            f"coupling:in:{one}:{edge}:{other}",
            f"coupling:id:{one}:{edge}:{other}:{value}",
            f"coupling:st:{one}:{random.randrange(2)}:{other}:{value}",
        )
    )


def _chip(random: Random, machine: Machine, image: Image) -> str:
    chips = [chip for chip in machine.chips if machine.kind_at(chip.range.first) == "ram"]
    if not chips:
        return _stuck(random, machine, image)
    return f"stuck-chip:{random.choice(chips).position}:{random.randrange(2)}"


def _bank(random: Random, machine: Machine) -> str:
    """A bank; one that the monitor does not live in, where there is one."""
    banks = [area.range for area in machine.areas if area.kind == "ram"]
    bank = random.choice(banks[1:] if len(banks) > 1 and random.random() < 0.8 else banks)
    return f"{bank.first:04X}-{bank.last:04X}"


def _lines(random: Random, machine: Machine, image: Image) -> str:
    one, other = random.sample(range(11), 2)
    choice: Callable[[], str] = random.choice(
        (
            lambda: f"address-open:{one}:{random.randrange(2)}:{_bank(random, machine)}",
            lambda: f"address-shorted:{one}:{other}:{_bank(random, machine)}:{random.choice(('and', 'or'))}",
            lambda: f"bits-shorted:{one % 8}:{(one + 3) % 8}:{_bank(random, machine)}:and",
        )
    )
    return choice()


def _missing(random: Random, machine: Machine, image: Image) -> str:
    return f"bank-missing:{_bank(random, machine)}"


# ---- what is done ------------------------------------------------------------------------------------


def _steps(random: Random, machine: Machine, image: Image) -> tuple[Step, ...]:
    works = [random.choices(FIRST, (12, 4, 1, 3, 1, 1))[0]]
    for _ in range(random.choices((0, 1, 2, 3), (3, 4, 2, 1))[0]):
        works.append(random.choices(THEN, (4, 2, 1, 3, 2, 1, 2))[0])
    steps = []
    for number, work in enumerate(works):
        moments: tuple[Moment, ...] = ()
        if random.random() < (0.45 if number == 0 else 0.2):
            moments = tuple(_moment(random, image) for _ in range(random.choices((1, 2), (5, 1))[0]))
        steps.append(Step(work, moments, _start(random, image), random.random() < 0.7))
    return tuple(steps)


def _moment(random: Random, image: Image) -> Moment:
    """Any moment of a step, drawn so that all its parts are hit: waking, measuring, typing, reading."""
    kind = random.choices(MOMENTS, (4, 3, 3, 1, 3))[0]
    keys = 60 + 4 * len(image)
    if random.random() < 0.5:
        return Moment(kind, keys=random.randint(1, keys) if random.random() < 0.8 else random.randint(1, 80))
    return Moment(kind, after_s=random.uniform(0, 1.5 + 2.2 * keys / 60))


def _start(random: Random, image: Image) -> int:
    """Mostly a place within the image, so that what is there runs wild; at times anywhere."""
    if random.random() < 0.8:
        return random.choice([address for address, _ in image.cells()])
    return random.randrange(0x10000)
