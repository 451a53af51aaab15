"""The programs that take keys: every code is shown as it comes, and the game is played by its rules."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from linktool import library, machine
from tests.programs.rig import Rig

HERON = machine.load("heron")


def test_every_code_is_shown_with_all_its_bits() -> None:
    built = library.build(library.load("keys"), HERON)
    rig = Rig(HERON)
    codes = [code for code in range(256) if code & 0x7F != 0x1B] + [0x9B]
    rig.memory.keys = list(codes)
    text = rig.run(built, answer=False)
    assert rig.ended
    assert text.split() == [f"{code:02X}" for code in codes]


def test_bit_7_may_be_set_where_the_profile_s_adapter_sets_it() -> None:
    target = replace(HERON, keys=replace(HERON.keys, high_bit=True))
    marked = library.build(library.load("keys"), target)
    plain = library.build(library.load("keys"), HERON)
    assert library.expected_screen(marked) == ("41 5A 35 2A 1B",)
    assert library.judge(marked, "\rC1 DA B5 AA 9B \r=").ok
    assert library.judge(marked, "\r41 5A 35 2A 1B \r=").ok
    assert not library.judge(plain, "\rC1 DA B5 AA 9B \r=").ok
    assert not library.judge(marked, "\r51 DA B5 AA 9B \r=").ok


def test_a_swapped_data_line_shows() -> None:
    built = library.build(library.load("keys"), HERON)
    rig = Rig(HERON)
    rig.memory.keys = [code & 0x7C | (code & 1) << 1 | (code & 2) >> 1 for code in b"AZ5*\x1b\x1b"]
    verdict = library.judge(built, rig.run(built, answer=False, steps=20_000))
    assert not verdict.ok


@pytest.mark.parametrize("seed", range(30))
def test_the_game_keeps_to_its_rules(seed: int) -> None:
    chance = random.Random(seed)
    built = library.build(library.load("stars"), HERON)
    rig = Rig(HERON)
    struck = [chance.choice(b"0123456789AZ ?\r\x1b") for _ in range(400)]
    rig.memory.keys = list(struck)
    lines = rig.run(built, answer=False).strip("\n").split("\n")
    assert rig.ended
    assert lines[0].startswith("*" * 21 + " YOU ")
    left = 21
    for number, line in enumerate(lines[:-1]):
        heap, _, moves = line.partition(" ")
        assert heap == "*" * left
        words = moves.split()
        mine = int(words[1])
        assert 1 <= mine <= min(3, left)
        left -= mine
        if left == 0:
            assert (words, lines[-1]) == (["YOU", str(mine)], "YOU WIN")
            assert number == len(lines) - 2
            continue
        its = int(words[3])
        assert words[2] == "ME"
        assert its == (left % 4 or 1)
        left -= its
        if left == 0:
            assert lines[-1] == "I WIN"
    assert left == 0
