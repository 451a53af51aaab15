"""The routines as they are assembled, and the bootstrap on the board's processor."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from formats.image import Image, Range
from linktool.board import open_board
from linktool.resident import placement, routines
from tests.linktool.resident.rig import MACHINES, built


@pytest.mark.parametrize("name", ["heron", "dot"])
def test_the_sources_have_the_sizes_the_forecasts_reckon_with(name):
    machine, found = built(name)
    loader = routines.bootstrap(machine, found.placement)
    assert len(found.checker) == routines.CHECKER_BYTES
    assert len(found.receiver) == routines.RECEIVER_BYTES
    assert len(found.reader) == routines.READER_BYTES
    assert loader is not None and len(loader) == routines.BOOTSTRAP_BYTES
    assert routines.CHECKER_BYTES + routines.RECEIVER_BYTES <= 64 + 128


def test_receiver_and_checker_stand_one_behind_the_other_in_the_code_range():
    _, found = built()
    both = found.checker.overlay(found.receiver)
    assert [segment.range for segment in both.segments] == [found.placement.code]


def test_the_reader_is_the_last_in_the_window():
    _, found = built()
    (segment,) = found.reader.segments
    assert found.placement.window is not None
    assert found.placement.code.last < segment.first and segment.last <= found.placement.window.last
    assert (segment.first - found.placement.window.first) % routines.ROW == 0


@pytest.mark.parametrize(
    ("changes", "mark"),
    [
        ({}, "\x1b"),
        ({"cancel_key": "\x18"}, "\x18"),
        ({"cancel_key": "_"}, "\x1b"),
        ({"cancel_key": ""}, "\x1b"),
    ],
)
def test_the_mark_is_the_cancel_key_unless_that_is_one_of_the_64_characters(changes, mark):
    machine = MACHINES["heron"]
    other = replace(machine, dialect=replace(machine.dialect, **changes))
    assert routines.mark_of(other) == mark
    assert routines.mark_of(replace(other, dialect=replace(other.dialect, cancel_key="\r"))) == "\x1b"


def test_a_placement_without_room_for_a_buffer_has_no_receiver_and_no_bootstrap():
    machine = MACHINES["heron"]
    place = placement.places(machine, routines.length(False), False, [Range(0, 0xE0)])[0]
    found = routines.assembled(machine, place)
    assert not found.receiver and routines.bootstrap(machine, place) is None
    assert found.overwritten(False)[0] == Range(0xE8, 0xEF)


def test_what_is_overwritten_is_told_with_the_window_and_page_zero():
    _, found = built()
    assert found.overwritten(True) == (Range(0x28, 0xEF), Range(0x3F00, 0x3FFF))
    assert found.overwritten(False) == (Range(0x28, 0x28 + 8 + 32 - 1), Range(0x3F00, 0x3FFF))


def test_bootstrap_keys_name_each_row():
    _, found = built()
    code = found.placement.code
    keys = routines.bootstrap_keys(found.placement, Image.from_bytes(code.first, bytes(range(10))))
    assert keys == "!PPPQPRPSPTPUPVPW" + '"PXPY'


@pytest.mark.parametrize("first", [0x3F00, 0x3F0A, 0x4000 - 256 - 8])
def test_bootstrap_keys_refuse_what_the_bootstrap_cannot_place(first):
    _, found = built()
    with pytest.raises(ValueError, match=r"row|window"):
        routines.bootstrap_keys(found.placement, Image.from_bytes(first, b"\1\2"))


@pytest.mark.parametrize("name", ["heron", "dot"])
def test_the_bootstrap_brings_bytes_and_writes_nowhere_else_whatever_comes(name):
    machine, found = built(name)
    loader = routines.bootstrap(machine, found.placement)
    assert loader is not None and found.placement.window is not None
    draw = Random(3)
    for case in range(12):
        board = open_board(f"board:machine={name},seed={case}")
        board.poke(loader.segments[0].first, loader.segments[0].data)
        board.read(0.5)
        before = board.memory(0, 0xFFFF)
        core = board.processor.core
        core.pc, core.sp = loader.segments[0].first, 0xFD
        board.bus.changes += 1
        data = draw.randbytes(172)
        keys = routines.bootstrap_keys(found.placement, Image.from_bytes(found.placement.code.first, data))
        if case:
            keys = "".join(
                draw.choice((key, "", key * 2, chr(draw.randrange(0x20, 0x60))))
                if draw.random() < 0.05
                else key
                for key in keys
            )
        start = board.processor.cycles
        for number, key in enumerate(keys + "  "):
            board.keyboard.arrivals.append((start + 1042 * number, ord(key)))
        while board.read(board.now() + 0.5):
            pass
        after = board.memory(0, 0xFFFF)
        changed = {at for at in range(0x200, 0x10000) if before[at] != after[at]}
        lines = set(range(0x0200, 0x0280))  # what is left over goes to the monitor's line
        assert changed - lines <= set(range(found.placement.window.first, found.placement.window.last + 1))
        if not case:
            assert board.memory(found.placement.code.first, found.placement.code.last) == data
