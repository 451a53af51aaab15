"""What is drawn on top of a plain plan, from a stream of its own: tests of memory, and one-way links.

A plain plan (plan.py) stays as it is, to the key. Some sessions get steps of `survey` and `diagnose`, boards
that hold more than their profile says, and faults where those tests look; some have a one-way link.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random

from formats.image import Image, Range
from linktool.evidence import banks_of
from linktool.machine import Area, Machine, with_link
from linktool.pattern import pattern_for
from linktool.probes import coarse_pages, probes_for
from tests.simulation import plan as plain_plan
from tests.simulation.plan import LARGEST, MOMENTS, Moment, Plan, Step, memory_faults

TESTS = ("survey", "survey all", "survey deep", "diagnose", "diagnose all")
ONE_WAY = ("enter", "enter without check", "run", "refused")
MORE = Range(0x4000, 0x4FFF)
"""Where a board holds more than its profile says: RAM, ROM, or RAM that shows there a second time."""


def draw(seed: int, largest: int = LARGEST, plain: bool = False) -> Plan:
    """The session of that seed; `plain` without anything on top."""
    plan = plain_plan.draw(seed, largest)
    random = Random(f"extras {seed}")
    kind = random.choices(("plain", "tests", "one-way"), (70, 24, 6))[0]
    if plain or kind == "plain":
        return plan
    return _with_tests(plan, random) if kind == "tests" else _one_way(plan, random)


# ---- tests of memory ---------------------------------------------------------------------------------


def _with_tests(plan: Plan, random: Random) -> Plan:
    more = random.choices(("", "ram", "rom", "mirror"), (7, 1, 1, 1))[0]
    steps = list(plan.steps)
    for _ in range(random.choices((1, 2), (4, 1))[0]):
        at = len(steps) if random.random() < 0.6 else random.randint(0, len(steps))
        steps.insert(at, _test(random, plan.machine, bool(more)))
    faults = plan.memory_faults
    if not faults and random.random() < 0.35:
        faults = memory_faults(random, plan.machine, _looked_at(plan.machine))
    if more == "mirror":
        faults = (*faults, f"mirror:0000-0FFF:{MORE}")
    built = plan.machine
    if more in ("ram", "rom"):
        area = Area(MORE if more == "ram" else Range(MORE.first, MORE.first + 0x3FF), more, "more")
        built = replace(built, areas=tuple(sorted((*built.areas, area), key=lambda a: a.range.first)))
    return replace(plan, steps=tuple(steps), memory_faults=faults, built=built)


def _test(random: Random, machine: Machine, more: bool) -> Step:
    work = random.choices(TESTS, (12, 1, 1, 5, 1))[0]
    ranges: tuple[Range, ...] = ()
    if work == "survey" and (more or random.random() < 0.5):
        first = MORE.first - 0x400 if more else random.randrange(0x100) << 8
        ranges = (Range(first, min(0xFFFF, first + random.randint(1, 0x0F00))),)
    elif work == "survey deep":
        first = random.choice(plain_plan.free_stretches(machine)).last - random.randint(0x80, 0x180)
        ranges = (Range(max(0x0280, first), max(0x0280, first) + random.randint(0x20, 0x7F)),)
    elif work == "diagnose":
        bank = random.choice([each.range for each in banks_of(machine) if each.kind == "ram"])
        first = random.randint(bank.first, bank.last)
        ranges = (Range(first, min(bank.last, first + random.choice((0, 7, 31, 0xFFF)))),)
    moments: tuple[Moment, ...] = ()
    if random.random() < 0.45:
        moments = tuple(_moment(random) for _ in range(random.choices((1, 2), (5, 1))[0]))
    return Step(work, moments, fresh=random.random() < 0.7, ranges=ranges)


def _moment(random: Random) -> Moment:
    kind = random.choices(MOMENTS, (4, 3, 5, 1, 4))[0]
    if random.random() < 0.5:
        return Moment(kind, keys=random.randint(1, 2000 if random.random() < 0.8 else 100))
    return Moment(kind, after_s=random.uniform(0, 70))


def _looked_at(machine: Machine) -> Image:
    """The bytes of RAM that a survey or a diagnosis tries."""
    found = {
        address
        for probe in probes_for(machine, coarse_pages(machine))
        if probe.use == "write"
        for address in range(probe.range.first, probe.range.last + 1)
    }
    for bank in banks_of(machine):
        pattern = pattern_for(machine, bank) if bank.kind == "ram" else None
        found.update(address for address, _ in (pattern.first if pattern else Image()).cells())
    return Image.from_cells((address, 0) for address in sorted(found))


# ---- one-way links -----------------------------------------------------------------------------------


def _one_way(plan: Plan, random: Random) -> Plan:
    """Keys go in, nothing comes back. The delays are the profile's own, or longer ones that the user gave."""
    machine = with_link(
        plan.machine,
        echo=False,
        pacing="timed",
        window=0,
        key_delay_s=random.choice((0.0, 0.0, 0.03, 0.06)),
        line_delay_s=random.choice((0.0, 0.0, 0.5, 1.0)),
    )
    steps = []
    for number in range(random.choice((1, 2, 3))):
        work = random.choices(ONE_WAY, (6, 2, 2 if number else 0, 1))[0]
        moments: tuple[Moment, ...] = ()
        if random.random() < 0.35:
            kind = random.choices(MOMENTS, (2, 2, 4, 1, 3))[0]
            moments = (Moment(kind, keys=random.randint(1, 60 + 3 * len(plan.image))),)
        start = random.choice([address for address, _ in plan.image.cells()])
        steps.append(Step(work, moments, start, random.random() < 0.7))
    return replace(
        plan,
        machine=machine,
        built=machine,
        display_cps=max(plan.display_cps, machine.screen.rate_cps),
        steps=tuple(steps),
    )
