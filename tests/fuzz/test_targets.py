"""Every target of the table, fed by hypothesis: anything at all, and samples with something wrong in them."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz.mutation import mutated
from tests.fuzz.targets import TARGETS, Target


def fed(target: Target, data: bytes) -> None:
    """Feed it; what it may raise is passed over."""
    try:
        target.run(data)
    except target.refusals as error:
        assert str(error)


@pytest.mark.parametrize("target", TARGETS, ids=[target.name for target in TARGETS])
def test_whatever_comes_is_read_or_refused(target: Target):
    examples = 15 if target.slow else 60

    @settings(max_examples=examples, suppress_health_check=[HealthCheck.too_slow], deadline=None)
    @given(st.binary(max_size=300))
    def anything(data: bytes) -> None:
        fed(target, data)

    @settings(max_examples=examples, suppress_health_check=[HealthCheck.too_slow], deadline=None)
    @given(st.randoms(use_true_random=False))
    def something_wrong(random: object) -> None:
        fed(target, mutated(target.samples, random))  # type: ignore[arg-type]  # hypothesis' Random

    anything()
    something_wrong()


@pytest.mark.parametrize("target", TARGETS, ids=[target.name for target in TARGETS])
def test_the_first_sample_is_well_formed(target: Target):
    target.run(target.samples[0])


@pytest.mark.parametrize("target", TARGETS, ids=[target.name for target in TARGETS])
def test_the_samples_and_their_beginnings(target: Target):
    for sample in target.samples:
        for length in (0, 1, len(sample) // 2, len(sample) - 1, len(sample)):
            fed(target, sample[:length])
