"""Every shipped program, on both shipped machines in good order: it prints what its description says,
ends in the monitor, keeps to its size and its time, and to upper case on 40 columns."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

MACHINES = ("heron", "dot")
NAMES = (
    "address", "characters", "checksum", "counter", "decimal", "fill", "keys", "march", "move", "retention",
    "ruler", "smoke", "stars", "survey", "tick",
)  # fmt: skip
STRETCHED = {
    "march": {"first": 0x1000, "last": 0x10FF},
    "retention": {"first": 0x1000, "last": 0x10FF, "wait": 1},
}
TICK_STEPS = 400_000  # instructions: the first ticks; test_tick takes them all


@dataclass(frozen=True)
class Run:
    """What one run on the heron showed."""

    built: library.Built
    text: str
    took_s: float
    ended: bool
    written: frozenset[int]


@cache
def ran(name: str) -> Run:
    built = library.build(library.load(name), machine.load("heron"), parameters=STRETCHED.get(name, {}))
    rig = Rig(built.machine)
    written: set[int] = set()

    def note(address: int, value: int, memory: bytearray) -> None:
        memory[address] = value
        written.add(address)

    rig.memory.on_write = note
    text = rig.run(built, steps=TICK_STEPS if name == "tick" else 8_000_000)
    for address, value in built.leaves.cells():
        assert rig.memory.bytes[address] == value
    took_s = rig.cpu.processorCycles / built.machine.clock_hz
    return Run(built, text, took_s, rig.ended, frozenset(written))


def test_the_library_holds_these_programs() -> None:
    assert tuple(library.available()) == NAMES


@pytest.mark.parametrize("name", [name for name in NAMES if name != "tick"])
def test_a_machine_in_order_passes(name: str) -> None:
    run = ran(name)
    verdict = library.judge(run.built, run.text + "\r" + run.built.machine.dialect.ready)
    assert verdict.ok, verdict.sentence
    assert verdict.known
    assert run.ended


@pytest.mark.parametrize("name", [name for name in NAMES if name not in ("tick", "keys")])
def test_the_time_stated_is_enough_and_not_twice_too_much(name: str) -> None:
    run = ran(name)
    assert run.took_s <= run.built.seconds + 0.02
    assert run.built.seconds <= 2 * run.took_s + 0.1


@pytest.mark.parametrize("name", NAMES)
def test_size_and_cells_are_what_the_description_says(name: str) -> None:
    built = ran(name).built
    assert len(built.image) == built.program.size
    offsets = re.findall(r"\bzp(?:\+(\d))?", re.sub(r";.*", "", built.program.source))
    assert max((int(offset or 0) for offset in offsets), default=-1) < built.program.zero_page


@pytest.mark.parametrize("name", NAMES)
def test_a_program_writes_only_where_it_says(name: str) -> None:
    run = ran(name)
    built = run.built
    allowed = set(range(0x0100, 0x0200))
    if built.cells:
        allowed |= set(range(built.cells.first, built.cells.last + 1))
    if name == "survey":
        allowed |= set(range(built.values["before"], 0x10000, 0x100))
    elif name == "move":
        allowed |= set(dict(built.leaves.cells()))
    elif built.program.writes:
        allowed |= set(range(built.values["first"], built.values["last"] + 1))
    assert run.written <= allowed


@pytest.mark.parametrize("name", NAMES)
def test_what_is_printed_fits_the_smallest_screen_and_character_set(name: str) -> None:
    lines = ran(name).text.split("\n")
    assert all(len(line) <= 40 for line in lines) or name in ("characters", "ruler")
    assert set("".join(lines)) <= set(map(chr, range(0x20, 0x60)))


@pytest.mark.parametrize("name", NAMES)
def test_every_failure_is_told_in_its_own_words(name: str) -> None:
    outcomes = library.load(name).outcomes
    assert len({outcome.says for outcome in outcomes}) == len(outcomes)
    assert outcomes[0].ok
    assert not any(outcome.ok for outcome in outcomes[1:])
