"""The board's memory faults met by march tests exactly where the published definitions say.

Source: fault and test definitions in A. J. van de Goor, "Using march tests to test SRAMs", IEEE Design and
Test 10(1), 1993, 8-14, doi 10.1109/54.199799. Where each test meets a fault first (four cells of one bit,
all 0 at the start, "any order" taken as up) was computed beforehand by exhaustive simulation, apart from
this project. `M2.r1@1`: element 2, a read that expects 1, at cell 1; "-" escapes.
"""

from __future__ import annotations

import pytest

from linktool import machine
from linktool.board.board import Board

CELLS = 0x0380
TESTS = {
    "MATS+": "u:w0 u:r0,w1 d:r1,w0",
    "MATS++": "u:w0 u:r0,w1 d:r1,w0,r0",
    "March X": "u:w0 u:r0,w1 d:r1,w0 u:r0",
    "March C-": "u:w0 u:r0,w1 u:r1,w0 d:r0,w1 d:r1,w0 u:r0",
    "March B": "u:w0 u:r0,w1,r1,w0,r0,w1 u:r1,w0,w1 d:r1,w0,w1,w0 d:r0,w1,w0",
}
# fault, then where MATS+, MATS++, March X, March C- and March B meet it
MET = [
    ("stuck:0381:0:0", "M2.r1@1 M2.r1@1 M2.r1@1 M2.r1@1 M1.r1@1"),
    ("transition:0381:0:up", "M2.r1@1 M2.r1@1 M2.r1@1 M2.r1@1 M1.r1@1"),
    ("stuck:0381:0:1", "M1.r0@1 M1.r0@1 M1.r0@1 M1.r0@1 M1.r0@1"),
    ("transition:0381:0:down", "- M2.r0@1 M3.r0@1 M3.r0@1 M1.r0@1"),
    ("coupling:in:0382.0:up:0381.0", "M2.r1@1 M2.r1@1 M2.r1@1 M2.r1@1 M4.r0@1"),
    ("coupling:id:0381.0:up:0382.0:0", "- - - M4.r1@2 M2.r1@2"),
    ("coupling:id:0382.0:down:0381.0:1", "- - - M3.r0@1 M4.r0@1"),
    ("coupling:st:0381.0:1:0382.0:0", "M2.r1@2 M2.r1@2 M2.r1@2 M2.r1@2 M1.r1@2"),
    ("mirror:0382-0382:0381-0381", "M1.r0@2 M1.r0@2 M1.r0@2 M1.r0@2 M1.r0@2"),
]


def first_met(board: Board, test: str) -> str:
    for number, element in enumerate(test.split()):
        order, steps = element.split(":")
        for cell in range(4) if order == "u" else reversed(range(4)):
            for step in steps.split(","):
                value = int(step[1])
                if step[0] == "w":
                    board.bus[CELLS + cell] = value
                elif board.bus[CELLS + cell] & 1 != value:
                    return f"M{number}.{step}@{cell}"
    return "-"


@pytest.mark.parametrize(("fault", "met"), MET, ids=[fault for fault, _ in MET])
@pytest.mark.parametrize("number", range(len(TESTS)), ids=list(TESTS))
def test_a_fault_is_met_where_it_was_computed(fault: str, met: str, number: int) -> None:
    board = Board(machine.load("heron"), faults=[fault])
    for cell in range(4):
        board.bus.cells[CELLS + cell] = 0
    board.bus.fit(board.bus.faults)  # what is stuck is so again
    assert first_met(board, list(TESTS.values())[number]) == met.split()[number]


@pytest.mark.parametrize("test", TESTS.values(), ids=list(TESTS))
def test_good_memory_passes(test: str) -> None:
    assert first_met(Board(machine.load("heron")), test) == "-"
