"""How fast characters go over the adapter and onto the display.

Sources: a character is start bit, data, parity and stop bits: "Character Structure and Character Parity
Sense for Serial-by-Bit Data Communication in ASCII", CACM 8(9), September 1965, 553-556 (10 equal elements
for 7 bits with parity); two stop bits at 110 baud, 10 characters a second: common practice.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from linktool import machine as profiles
from linktool.board.adapter import wire_of
from linktool.board.board import Board

HERON = profiles.load("heron")


@pytest.mark.parametrize(
    ("rate", "frame", "characters_per_second"),
    [
        (110, "8N2", 10.0),
        (300, "8N1", 30.0),
        (300, "7E1", 30.0),
        (1200, "7E2", 109.091),
        (2400, "8N1", 240.0),
        (2400, "7N1", 266.667),
        (9600, "8E1", 872.727),
    ],
)
def test_a_flood_of_characters_comes_at_the_lines_rate(
    rate: int, frame: str, characters_per_second: float
) -> None:
    machine = replace(HERON, link=replace(HERON.link, rate=rate, frame=frame))
    board = Board(machine, wire=wire_of(machine, latency_s=0.0), display_cps=5000)
    board.poke(0x0300, bytes.fromhex("A9 41 20 F1 FF 4C 02 03"))
    board.processor.core.pc = 0x0300
    times = []
    while len(times) < 50:
        assert board.read(board.now() + 1) == b"A"
        times.append(board.now())
    assert 49 / (times[-1] - times[0]) == pytest.approx(characters_per_second, rel=1e-5)
    start = board.now()
    arrivals = [at for key in b"ABCDE" for at, _ in board.adapter.key(start, key)]
    assert arrivals == pytest.approx([start + n / characters_per_second for n in range(1, 6)], rel=1e-5)
