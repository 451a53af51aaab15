"""A few of the seeded runs; thousands are run by hand, see runs.py."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.linktool.resident.runs import draw, play

SEEDS = (118, 204, *range(301, 309))
"""Those that once broke a rule first."""


@pytest.mark.parametrize("seed", SEEDS)
def test_no_claim_is_false_whatever_goes_wrong(seed):
    play(seed)


def test_the_seeds_hold_every_kind_of_run():
    kinds = Counter(draw(seed).kind for seed in range(1, 200))
    assert set(kinds) == {"clean", "noise", "reset", "cut", "stop", "memory", "all"}
    assert {draw(seed).machine.name for seed in SEEDS} == {"heron", "dot"}
