"""Every shipped program, on both shipped machines in good order: it prints what its description says,
ends in the monitor, keeps to its size and its time, and to upper case on 40 columns."""

from __future__ import annotations

import re

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

MACHINES = ("heron", "dot")
NAMES = (
    "address", "characters", "checksum", "counter", "decimal", "fill", "keys", "march", "move", "retention",
    "ruler", "smoke", "stars", "survey", "tick",
)  # fmt: skip
STRETCHED = {"tick": {}, "march": {"first": 0x1000, "last": 0x10FF}}


def built(name: str, machine_name: str, **parameters: int) -> library.Built:
    return library.build(library.load(name), machine.load(machine_name), parameters=parameters)


def test_the_library_holds_these_programs() -> None:
    assert tuple(library.available()) == NAMES


@pytest.mark.parametrize("machine_name", MACHINES)
@pytest.mark.parametrize("name", [name for name in NAMES if name != "tick"])
def test_a_machine_in_order_passes(name: str, machine_name: str) -> None:
    program = built(name, machine_name, **STRETCHED.get(name, {}))
    rig = Rig(program.machine)
    verdict = library.judge(program, rig.run(program) + "\r" + program.machine.dialect.ready)
    assert verdict.ok, verdict.sentence
    assert verdict.known
    assert rig.ended
    for address, value in program.leaves.cells():
        assert rig.memory.bytes[address] == value


@pytest.mark.parametrize("name", [name for name in NAMES if name not in ("tick", "keys")])
def test_the_time_stated_is_enough_and_not_twice_too_much(name: str) -> None:
    program = built(name, "heron", **STRETCHED.get(name, {}))
    rig = Rig(program.machine)
    rig.run(program)
    took_s = rig.cpu.processorCycles / program.machine.clock_hz
    assert took_s <= program.seconds + 0.02
    assert program.seconds <= 2 * took_s + 0.1


@pytest.mark.parametrize("name", NAMES)
def test_size_and_cells_are_what_the_description_says(name: str) -> None:
    program = built(name, "heron")
    assert len(program.image) == program.program.size
    used = set(re.findall(r"\bzp(?:\+(\d))?", re.sub(r";.*", "", program.program.source)))
    aliases = [int(offset or 0) for offset in used]
    assert max(aliases, default=-1) < program.program.zero_page


@pytest.mark.parametrize("name", NAMES)
def test_a_program_writes_only_where_it_says(name: str) -> None:
    program = built(name, "heron", **{"turns": 1} if name == "characters" else STRETCHED.get(name, {}))
    rig = Rig(program.machine)
    written: set[int] = set()

    def note(address: int, value: int, memory: bytearray) -> None:
        memory[address] = value
        written.add(address)

    rig.memory.on_write = note
    rig.run(program, steps=400_000)
    assert rig.ended or name in ("tick", "retention")
    allowed = set(range(0x0100, 0x0200)) | set(
        (program.cells and range(program.cells.first, program.cells.last + 1)) or ()
    )
    if name == "survey":
        allowed |= set(range(program.values["before"], 0x10000, 0x100))
    elif name == "move":
        allowed |= set(dict(program.leaves.cells()))
    elif program.program.writes:
        allowed |= set(range(program.values["first"], program.values["last"] + 1))
    assert written <= allowed


@pytest.mark.parametrize("name", NAMES)
def test_what_is_printed_fits_the_smallest_screen_and_character_set(name: str) -> None:
    program = built(name, "heron", **{"turns": 1} if name == "characters" else {})
    rig = Rig(program.machine)
    lines = rig.run(program, steps=300_000).split("\n")
    wraps = name in ("characters", "ruler")
    assert all(len(line) <= 40 for line in lines) or wraps
    assert set("".join(lines)) <= set(map(chr, range(0x20, 0x60)))


@pytest.mark.parametrize("name", NAMES)
def test_every_failure_is_told_in_its_own_words(name: str) -> None:
    outcomes = library.load(name).outcomes
    assert len({outcome.says for outcome in outcomes}) == len(outcomes)
    assert outcomes[0].ok
    assert not any(outcome.ok for outcome in outcomes[1:])
