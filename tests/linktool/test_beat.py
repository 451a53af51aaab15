"""The clock from a beat's arrivals: exact where they are exact, within its bound where they are not."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from linktool.beat import Clock, clock
from linktool.program import Beat

BEAT = Beat(".", 500_000, 32)
JITTER_S = 0.0327


def test_exact_arrivals_give_the_exact_clock() -> None:
    found = clock(BEAT, [7.0 + 0.5 * tick for tick in range(32)])
    assert found is not None
    assert abs(found.hz - 1_000_000) < 0.01
    assert found.within < 0.0032


@given(
    st.floats(0.5e6, 2e6),
    st.lists(st.floats(0, JITTER_S), min_size=32, max_size=32),
    st.floats(0, 1e6),
)
def test_no_shift_within_the_jitter_leads_out_of_the_bound(
    hz: float, shifts: list[float], begin: float
) -> None:
    arrivals = [begin + 500_000 / hz * tick + shift for tick, shift in enumerate(shifts)]
    found = clock(BEAT, arrivals, JITTER_S)
    assert found is not None
    assert (
        abs(500_000 / found.hz * hz / 500_000 - 1)
        <= found.within * (500_000 / found.hz * hz / 500_000) + 1e-6
    )


def test_the_bound_is_reached_by_the_worst_shifts() -> None:
    worst = [0.5 * tick + (JITTER_S if tick >= 16 else 0.0) for tick in range(32)]
    found = clock(BEAT, worst, JITTER_S)
    assert found is not None
    assert abs(0.5 - 500_000 / found.hz) / (500_000 / found.hz) > 0.999 * found.within


def test_a_tick_too_many_or_too_few_gives_nothing() -> None:
    for count in (0, 31, 33):
        assert clock(BEAT, [0.5 * tick for tick in range(count)]) is None
    assert clock(BEAT, [1.0] * 32) is None


def test_it_is_said_against_the_profile() -> None:
    same = "the processor runs at 1.023 MHz (within 0.30%), as the profile says: 1.023"
    assert Clock(1.0226e6, 0.003).sentence(1.023e6) == same
    other = "the processor runs at 1.023 MHz (within 0.30%); the profile says 1.000 MHz, 2.3% less"
    assert Clock(1.0227e6, 0.003).sentence(1e6) == other
    assert Clock(0.9e6, 0.003).sentence(1e6).endswith("1.000 MHz, 10.0% more")
