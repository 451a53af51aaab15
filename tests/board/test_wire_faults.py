"""Noise on the line: seeded, in its measure, each way for itself."""

from __future__ import annotations

from random import Random

import pytest

from linktool.board.wire_faults import LatencyBurst, Noise

MANY = 4000


@pytest.mark.parametrize(
    ("kind", "length", "same"), [("lost", 0, False), ("doubled", 2, True), ("changed", 1, False)]
)
@pytest.mark.parametrize("way", ["keys", "prints"])
def test_noise_meets_its_share_of_its_own_way(way, kind, length, same):
    noise = Noise(way, kind, 0.1, Random(7))
    passes = (noise.key, noise.print) if way == "keys" else (noise.print, noise.key)
    results = [passes[0](0x41) for _ in range(MANY)]
    met = [result for result in results if result != [0x41]]
    assert 0.08 < len(met) / MANY < 0.12
    assert {len(result) for result in met} == {length}
    for result in met:
        assert all((code == 0x41) == same for code in result)
        assert all((code ^ 0x41).bit_count() <= 1 and code < 0x80 for code in result)
    assert all(passes[1](0x41) == [0x41] for _ in range(MANY))


def test_the_same_seed_gives_the_same_noise():
    first, second = (Noise("keys", "changed", 0.5, Random(3)) for _ in range(2))
    assert [first.key(0x55) for _ in range(100)] == [second.key(0x55) for _ in range(100)]


def test_a_burst_holds_bytes_back_now_and_then():
    burst = LatencyBurst(0.25, 0.1, Random(5))
    delays = [burst.delay() for _ in range(MANY)]
    assert set(delays) == {0.0, 0.25}
    assert 0.08 < delays.count(0.25) / MANY < 0.12
