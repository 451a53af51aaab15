"""The tick keeps its period to the cycle, whatever the display does, and gives the clock within 0.5 %."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from linktool import beat, library, machine
from linktool.errors import RefusedError
from tests.programs.rig import FIELD_CYCLES, Rig


@pytest.fixture(scope="module")
def ticks() -> tuple[library.Built, list[int], Rig]:
    """The program run once: the cycles at which each tick was printed."""
    built = library.build(library.load("tick"), machine.load("heron"))
    rig = Rig(built.machine)
    verdict = library.judge(built, rig.run(built))
    assert verdict.ok
    return built, rig.times_of("."), rig


def test_the_period_is_exact(ticks: tuple[library.Built, list[int], Rig]) -> None:
    built, cycles, rig = ticks
    said = built.program.beat
    assert said is not None
    assert rig.ended
    assert len(cycles) == said.times
    assert {later - earlier for earlier, later in pairwise(cycles)} == {said.cycles}
    assert said.cycles > 10 * FIELD_CYCLES


@pytest.mark.parametrize("clock_hz", [900_000, 1_000_000, 1_023_000])
def test_the_clock_comes_out_within_half_a_percent(
    ticks: tuple[library.Built, list[int], Rig], clock_hz: float
) -> None:
    built, cycles, _ = ticks
    said = built.program.beat
    assert said is not None
    for seed in range(20):
        shift = random.Random(seed)
        # shown at the next field, and fetched from the adapter every 16 ms
        fields = [at / clock_hz + shift.random() / 59.94 for at in cycles]
        phase = shift.random() * 0.016
        arrivals = [phase + 0.016 * -(-(at - phase) // 0.016) for at in fields]
        clock = beat.clock(said, arrivals)
        assert clock is not None
        assert abs(clock.hz / clock_hz - 1) <= clock.within <= 0.005


def test_it_is_refused_where_its_loop_would_cross_a_page() -> None:
    heron = machine.load("heron")
    with pytest.raises(RefusedError, match="crosses a page"):
        library.build(library.load("tick"), heron, at=0x02F0)
    assert library.build(library.load("tick"), heron, at=0x0300).start == 0x0300
