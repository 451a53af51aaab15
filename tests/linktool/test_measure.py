"""measure on the simulated board: evidence, memory given back, interruption."""

from __future__ import annotations

import pytest

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.board.board import Board
from linktool.conversation import Conversation
from linktool.diagnosis import diagnose
from linktool.driver import drive
from linktool.evidence import banks_of
from linktool.jobs.measure import Measured, measure
from linktool.machine import Machine
from linktool.pattern import Pattern, pattern_for

HERON, DOT = profiles.load("heron"), profiles.load("dot")


def patterns(machine: Machine, *banks: int, asked: Range | None = None) -> list[Pattern]:
    ram = [bank for bank in banks_of(machine) if bank.kind == "ram"]
    found = [pattern_for(machine, ram[number], asked) for number in banks]
    return [pattern for pattern in found if pattern]


def held(board: Board) -> Image:
    image = Image.from_bytes(0, board.memory(0, 0x3FFF))
    for area in board.machine.reserved:
        image = image.without(area.range)
    return image


def measured(board: Board, made: list[Pattern], **more: object) -> Measured:
    return drive(measure(Conversation(board.machine), made, "board:"), board, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("machine", [HERON, DOT], ids=lambda m: m.name)
def test_a_bank_in_order_is_written_once_and_given_back(machine):
    board = Board(machine, seed=4)
    before = held(board)
    result = measured(board, patterns(machine, 1))
    assert result.failed == 0 and result.evidence.wrong == 0
    assert len(result.evidence.rounds) == 1 and not result.owed
    assert held(board) == before
    assert board.now() < 50, "well under a minute for a bank"


def test_a_bank_with_a_fault_gets_a_second_round_with_every_bit_turned():
    board = Board(HERON, faults=("stuck-chip:K7:0",))
    result = measured(board, patterns(HERON, 1, 2))
    first, second = result.evidence.rounds
    assert {s.address >> 12 for s in first} == {1, 2} and {s.address >> 12 for s in second} == {1}
    turned = {s.address: s.expected for s in second}
    assert all(turned[s.address] == s.expected ^ 0xFF for s in first if s.address in turned)


def test_a_close_look_finds_one_unsteady_bit():
    board = Board(HERON, faults=("unsteady:1283:5:0.3",), seed=2)
    result = measured(board, patterns(HERON, 1, asked=Range(0x1280, 0x1287)))
    (fault,) = diagnose(HERON, result.evidence).faults
    assert fault.cause.kind == "unsteady" and fault.cause.addresses == (0x1283,)


@pytest.mark.parametrize("at_s", [2, 8, 14, 20, 26, 32])
def test_stopped_at_any_moment_memory_is_as_it_was(at_s):
    board = Board(HERON, seed=at_s)
    before = held(board)
    result = measured(board, patterns(HERON, 1), stop=lambda: int(board.now() > at_s))
    assert result.stopped and result.failed == 130 and not result.owed
    assert held(board) == before


@pytest.mark.parametrize("at_s", [15, 22, 30])
def test_a_lost_link_says_what_is_owed(at_s):
    board = Board(HERON, faults=(f"cut-at:{at_s}s",), seed=at_s)
    before = held(board)
    result = measured(board, patterns(HERON, 1))
    assert result.lost and result.failed == 3
    changed = {address for address, value in held(board).cells() if before.get(address) != value}
    owed = dict(result.owed.cells())
    assert changed <= set(owed) and all(owed[a] == before.get(a) for a in owed)


def test_a_silent_machine_is_no_evidence():
    board = Board(HERON, faults=("cut-at:0s",))
    result = measured(board, patterns(HERON, 1))
    assert result.lost and result.evidence.rounds == () and not result.owed
