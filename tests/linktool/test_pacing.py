"""The arithmetic of keys under way."""

from __future__ import annotations

import random

import pytest

from linktool.pacing import Pacing, best_length, first_guess, largest_window, least_window

FIELD_S = 1 / 60


def test_windows_for_round_trips():
    # 16 ms each way and 2400 baud: a key's echo after 40.3 ms, 2.4 display periods
    assert least_window(FIELD_S, 0.0403) == 3
    assert largest_window(FIELD_S, 0.0403, latch=1) == 4
    assert least_window(FIELD_S, 0.010) == 1
    assert largest_window(FIELD_S, 0.010, latch=1) == 2
    assert largest_window(FIELD_S, 0.0403, latch=0) == 3


def test_keys_are_spaced_by_nearly_the_display_s_period():
    assert Pacing(4, FIELD_S, 0.04, 0.03).gap_s == pytest.approx(0.9 * FIELD_S)
    assert Pacing(1, FIELD_S, 0.04, 0.03).gap_s == 0
    assert Pacing(4, FIELD_S, 0.04, 0.03, key_delay_s=0.1).gap_s == 0.1


def test_patience_grows_to_a_limit():
    pacing = first_guess(FIELD_S)
    for _ in range(20):
        pacing = pacing.more_patient()
    assert pacing.slack_s == 2.0


def test_a_clean_link_gets_whole_lines():
    assert best_length(0, 4, 127) == 127


def tries_cost(length: int, overhead: int, rate: float, seed: int) -> float:
    """Characters a payload character, by drawing errors: a line is typed until it passes whole."""
    draw = random.Random(seed)
    spent = lines = 0
    while lines < 2000:
        for place in range(1, length + 1):
            spent += 1
            if draw.random() < rate:
                spent += overhead
                break
            if place == length:
                lines += 1
                spent += overhead
    return spent / (lines * (length - overhead))


@pytest.mark.parametrize("rate", [0.005, 0.015, 0.05])
def test_the_best_length_is_best_when_errors_are_drawn(rate):
    best = best_length(rate, 4, 127)
    cost = tries_cost(best, 4, rate, seed=1)
    for other in (best // 2, best * 2):
        if 8 < other <= 127:
            assert cost < tries_cost(other, 4, rate, seed=1)
