"""The processor: reset, what stops it, and that skipping idle polling changes nothing else."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linktool import machine as profiles
from linktool.board import open_board
from linktool.board.board import Board
from linktool.machine import Machine

CODE = 0x0300


def heron(processor: str = "6502") -> Machine:
    return replace(profiles.load("heron"), processor=processor)


def with_program(data: str, machine: Machine | None = None, **options: object) -> Board:
    """A board that comes up in the program at 0300 instead of its monitor."""
    board = Board(machine or heron(), **options)  # type: ignore[arg-type]  # options of Board
    board.poke(CODE, bytes.fromhex(data))
    board.processor.core.pc = CODE
    return board


def test_a_reset_reads_the_vector_and_sets_interrupt_flag_and_stack():
    board = with_program("F8 58 EA")
    board.read(0.0001)
    board.reset()
    core = board.processor.core
    assert (core.pc, core.sp) == (0xFF0D, 0xFD)
    assert core.p & 0x04
    assert core.p & 0x08  # the 6502 leaves decimal mode as it is
    later = with_program("F8 58 EA", heron("65C02"))
    later.read(0.0001)
    later.reset()
    assert not later.processor.core.p & 0x08


@pytest.mark.parametrize("opcode", ["02", "80", "FF", "A7", "1A"])
def test_an_opcode_that_is_none_stops_the_processor_until_a_reset(opcode):
    board = with_program(f"A9 01 8D 80 03 {opcode} A9 02 8D 80 03 4C 0D FF")
    assert board.read(1.0) == b""
    assert board.memory(0x0380, 0x0380) == b"\x01"
    assert board.statistics().stopped == f"{opcode} at 0305 is no instruction"
    assert board.now() == 1.0
    assert board.processor.cycles >= 1_000_000
    board.reset()
    assert board.read(2.0) == b"\r"
    assert board.statistics().stopped == ""


def test_the_65c02_knows_more_and_wai_stands_still():
    board = with_program("A9 01 1A 8D 80 03 80 00 CB", heron("65C02"))
    board.read(0.1)
    assert board.memory(0x0380, 0x0380) == b"\x02"
    assert board.statistics().stopped == "WAI at 0308 waits for an interrupt"


def test_dec_absolute_takes_six_cycles_and_bra_three():
    board = with_program("CE 80 03")
    start = board.processor.cycles
    board.processor.run(start + 1)
    assert board.processor.cycles - start == 6
    later = with_program("80 02", heron("65C02"))
    start = later.processor.cycles
    later.processor.run(start + 1)
    assert later.processor.cycles - start == 3


def test_the_monitor_runs_on_the_65c02_too():
    board = Board(heron("65C02"))
    assert board.read(1.0) + board.read(1.0) == b"\r="


# ---- skipping ----------------------------------------------------------------------------------------

# A slow clock and a fast display keep the runs without skipping short.
SLOW = {"clock_hz": 100_000, "display_cps": 600}

PROGRAMS = {
    "monitor": "4C 0D FF",
    "echo": "20 D4 FF 20 F1 FF 4C 00 03",
    # polls both registers by turns and counts the rounds that found a key; never waits
    "both": "2C 03 9F 30 FB AD 01 9F 10 F6 AD 00 9F E6 10 A5 10 29 3F 09 40 8D 02 9F 4C 00 03",
    # asks through a subroutine: the return address is written to the stack each time
    "subroutine": "20 0B 03 90 FB 20 F1 FF 4C 00 03 AD 01 9F 0A 90 03 AD 00 9F 60",
    # counts while it waits, so that no round is like the one before
    "counting": "E6 10 AD 01 9F 10 F9 AD 00 9F A5 10 29 3F 09 40 20 F1 FF 4C 00 03",
    "counting in x": "E8 AD 01 9F 10 FA AD 00 9F 8A 29 3F 09 40 20 F1 FF 4C 00 03",
    # reads the key without asking whether there is one, then waits for the display
    "careless": "AD 00 9F 2C 03 9F 30 FB 29 3F 09 40 8D 02 9F AD 01 9F 10 FB 4C 00 03",
    # two waits at different places with a delay between
    "two places": "AD 01 9F 10 FB AE 00 9F A0 20 88 D0 FD AD 01 9F 10 FB AD 00 9F 20 F1 FF 4C 00 03",
    "self": "4C 00 03",
    "branch to itself": "A9 00 F0 FE",
}


def run(data: str, keys: list[tuple[float, int]], skipping: bool) -> tuple[object, ...]:
    """Everything that can be told apart after typing the keys, each so long after the one before."""
    board = with_program(data, **SLOW)
    board.processor.skipping = skipping
    heard: list[tuple[float, bytes]] = []

    def listen(until: float) -> None:
        while got := board.read(until):
            heard.append((board.now(), got))

    for wait_s, key in keys:
        listen(board.now() + wait_s)
        board.write(bytes([key]))
    listen(board.now() + 0.25)
    core = board.processor.core
    facts = board.statistics()
    return (
        heard,
        (core.pc, core.a, core.x, core.y, core.p, core.sp, facts.cycles),
        (facts.keys_taken, facts.overruns, facts.printed, facts.prints_lost),
        board.memory(0, 0x3FFF),
        facts.skipped > 0,
    )


@pytest.mark.parametrize("name", sorted(PROGRAMS))
@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.floats(0.0, 0.03), st.sampled_from(b"0123456789ABCDEF:-. G\r\x1b_Z")), max_size=8)
)
def test_skipping_gives_the_same_to_the_cycle_as_stepping(name, keys):
    stepped = run(PROGRAMS[name], keys, skipping=False)
    skipped = run(PROGRAMS[name], keys, skipping=True)
    assert not stepped[-1]
    assert skipped[:-1] == stepped[:-1]


@pytest.mark.parametrize("name", sorted(set(PROGRAMS) - {"counting", "counting in x"}))
def test_waiting_programs_are_skipped(name):
    assert run(PROGRAMS[name], [], skipping=True)[-1]


@pytest.mark.parametrize("name", ["counting", "counting in x"])
def test_a_program_that_counts_while_it_waits_is_not_skipped(name):
    assert not run(PROGRAMS[name], [], skipping=True)[-1]


def test_a_reset_in_the_middle_of_a_wait_is_seen_in_time():
    boards = []
    for skipping in (False, True):
        board = with_program("4C 00 03", **SLOW, faults=["reset-at:0.1s"])
        board.processor.skipping = skipping
        heard = []
        while got := board.read(0.4):
            heard.append((board.now(), got))
        boards.append((heard, board.processor.cycles))
    assert boards[0] == boards[1]
    assert [got for _, got in boards[0][0]] == [b"\r", b"="]


def test_a_long_wait_costs_next_to_nothing():
    board = open_board("board:")
    board.read(0.5)
    board.read(0.5)
    assert board.read(3600.0) == b""
    assert board.processor.cycles >= 3_600_000_000
    assert board.statistics().skipped > 3_599_000_000
