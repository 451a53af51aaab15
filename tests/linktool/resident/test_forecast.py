"""Forecasts, held against what the work then takes on the board."""

from __future__ import annotations

from random import Random

import pytest

from formats.image import Image, Range
from linktool.board import open_board
from linktool.conversation import Conversation
from linktool.driver import drive
from linktool.jobs.resident_check import check
from linktool.jobs.resident_enter import enter
from linktool.machine import Machine, with_link
from linktool.resident.forecast import SHORT, checking, entering, long_and_short, unsuited
from linktool.resident.residence import residence
from tests.linktool.resident.rig import MACHINES

HERON = with_link(MACHINES["heron"], rate=9600)


def image(size: int, first: int = 0x0280) -> Image:
    return Image.from_bytes(first, Random(size).randbytes(size))


@pytest.mark.parametrize("machine", [HERON, with_link(MACHINES["dot"], rate=2400)], ids=["heron", "dot"])
@pytest.mark.parametrize("size", [60, 1000])
def test_entering_takes_as_long_as_forecast(machine: Machine, size: int):
    wanted = image(size)
    forecast = entering(machine, wanted)
    assert forecast.with_routines_s is not None
    for via, expected in (("typed", forecast.by_hand_s), ("receiver", forecast.with_routines_s)):
        board = open_board(f"board:machine={machine.name},rate={machine.link.rate}")
        report = drive(enter(Conversation(machine), wanted, via=via), board)  # type: ignore[arg-type]
        took = report.effort.seconds - report.effort.preparation_s
        assert report.ok and expected == pytest.approx(took, rel=0.06)


def test_checking_takes_as_long_as_forecast_and_much_less_once_the_checker_is_there():
    board, talk, wanted = open_board("board:rate=9600"), Conversation(HERON), image(2000)
    board.poke(0x0280, wanted.segments[0].data)
    forecast = checking(HERON, wanted)
    report = drive(check(talk, wanted, via="checker"), board)
    assert report.ok and forecast.with_routines_s == pytest.approx(
        report.effort.seconds - report.effort.preparation_s, rel=0.1
    )
    again = checking(HERON, wanted, residence(talk).routines)
    report = drive(check(talk, wanted), board)
    assert report.via == "checker" and again.with_routines_s == pytest.approx(
        report.effort.seconds - report.effort.preparation_s, rel=0.25
    )
    assert again.with_routines_s < forecast.with_routines_s / 2


def test_the_faster_way_depends_on_the_size():
    assert not entering(HERON, image(20)).faster
    assert entering(HERON, image(400)).faster
    assert entering(HERON, image(20), entering(HERON, image(400)).routines).faster


def test_why_the_routines_cannot_be_used_is_said():
    full = Image.from_bytes(0x0280, bytes(0x4000 - 0x0280))
    assert "no room for 172 bytes" in entering(HERON, full).reason and not entering(HERON, full).faster
    assert "no room for 83 bytes" in checking(HERON, full).reason
    held = [Range(0x0500, 0x3FFF)]
    assert "entered before" in entering(HERON, Image.from_bytes(0x0280, bytes(600)), held=held).reason
    assert "one-way" in entering(with_link(HERON, echo=False), image(500)).reason


def test_an_image_in_reserved_places_is_typed():
    assert unsuited(HERON, image(10)) == ""
    for first in (0x00F8, 0x0210, 0x9F00, 0x8000, 0xFF00):
        reason = unsuited(HERON, Image.from_bytes(first, b"\0"))
        assert reason.startswith("the image reaches into")
        assert entering(HERON, Image.from_bytes(first, b"\0")).reason == reason


def test_the_shortest_stretches_are_read_back():
    both = Image.from_runs([(0x300, bytes(SHORT)), (0x400, bytes(SHORT + 1))])
    long, short = long_and_short(both)
    assert [s.first for s in long.segments] == [0x400] and [s.first for s in short.segments] == [0x300]
