"""The page survey tells RAM, ROM and nothing apart, sees half a chip missing, and leaves no trace."""

from __future__ import annotations

import pytest

from linktool import library, machine
from tests.programs.rig import Rig


def survey(name: str, prepare: object = None) -> tuple[library.Verdict, list[str], Rig]:
    target = machine.load(name)
    built = library.build(library.load("survey"), target)
    rig = Rig(target)
    if callable(prepare):
        prepare(rig)
    before = bytes(rig.memory.bytes)
    text = rig.run(built)
    image = dict(built.image.cells())
    cells = set(range(built.cells.first, built.cells.last + 1)) if built.cells else set()
    changed = {
        at
        for at, (old, new) in enumerate(zip(before, rig.memory.bytes, strict=True))
        if old != new and at not in image and at not in cells and not 0x100 <= at < 0x200
    }
    assert not changed
    return library.judge(built, text), text.strip("\n").split("\n"), rig


@pytest.mark.parametrize("name", ["heron", "dot"])
def test_the_map_is_the_profile_s(name: str) -> None:
    verdict, rows, rig = survey(name, lambda rig: rig.memory.bytes.__setitem__(0x10FF, 0x5A))
    assert verdict.ok, verdict.sentence
    target = rig.machine
    io = "I" if name == "heron" else "."
    assert rows[0xF] == "F ...............R"
    assert rows[1] == "1 WWWWWWWWWWWWWWWW"
    assert rows[9] == f"9 ...............{io}"
    assert (target.kind_at(0x2000) == "ram") == (rows[2] == "2 WWWWWWWWWWWWWWWW")


def test_a_missing_bank_shows_and_is_told() -> None:
    def take_out(rig: Rig) -> None:
        rig.memory.kinds[0x2000:0x3000] = ["none"] * 0x1000

    verdict, rows, _ = survey("heron", take_out)
    assert not verdict.ok
    assert rows[2] == "2 ................"
    assert verdict.sentence == 'line 3 reads "2 ................"; expected: "2 WWWWWWWWWWWWWWWW"'


def test_a_missing_chip_shows_as_a_part() -> None:
    def take_out(rig: Rig) -> None:
        rig.memory.bytes[0x3000:0x4000] = b"\x10" * 0x1000
        rig.memory.on_read = lambda address, value: value | 0x10 if 0x3000 <= address < 0x4000 else value

    _, rows, _ = survey("heron", take_out)
    assert rows[3] == "3 PPPPPPPPPPPPPPPP"


def test_registers_are_not_touched() -> None:
    def press(rig: Rig) -> None:
        rig.memory.keys.append(0x41)

    _, _, rig = survey("heron", press)
    assert rig.memory.keys == [0x41]
