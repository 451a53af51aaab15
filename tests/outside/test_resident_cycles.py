"""What the routines take on the board, against the vendor's instruction times added up by hand.

Source: the table of instruction times in MOS Technology, MCS6500 Microcomputer Family Programming Manual,
2nd ed., January 1976, 6500-50A: immediate and implied 2, zero page 3, read-modify-write in zero page 5,
absolute 4, (zero page),Y 5 and one more where a page is crossed, store so indexed 6, absolute,Y 4, JSR and
RTS 6, branch 2, taken 3 (none here goes to another page).
"""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from formats.image import Range
from linktool.resident import sums
from linktool.resident.blocks import block
from linktool.resident.checking import CYCLES_A_BYTE
from tests.linktool.resident.rig import Receiver, board_with, built

ZERO, CHANGE, IMPLIED, JSR, RTS, TAKEN, NOT_TAKEN = 3, 5, 2, 6, 6, 3, 2
INDIRECT_READ, INDIRECT_STORE, ABSOLUTE = 5, 6, 4

SUM = (
    2 * ZERO  # eor high, sta high
    + 4 * IMPLIED  # lsr, four times
    + ZERO
    + IMPLIED  # eor high, tax
    + 4 * IMPLIED
    + ZERO  # asl, four times, sta temp
    + 2 * ZERO  # eor low, sta high
    + IMPLIED
    + 3 * IMPLIED  # txa, lsr three times
    + 2 * ZERO  # eor high, sta high
    + IMPLIED
    + CHANGE
    + ZERO
    + ZERO  # txa, asl temp, eor temp, sta low
    + 2 * ZERO  # adc extra, sta extra
    + RTS
)
BYTE = INDIRECT_READ + JSR + SUM + IMPLIED + TAKEN


def test_by_the_table_a_byte_takes_91_cycles() -> None:
    assert (SUM, BYTE) == (75, 91)
    assert BYTE < 100 and CYCLES_A_BYTE >= BYTE


@pytest.mark.parametrize(("first", "crossed"), [(0x1000, 0), (0x1001, 1), (0x1080, 0x80), (0x10FF, 0xFF)])
def test_a_piece_of_256_bytes_takes_what_the_table_says(first: int, crossed: int) -> None:
    """Where a piece begins in the middle of a page, the bytes in the next one cost a cycle more each."""
    machine, found = built()
    board = board_with(found)
    board.poke(first, Random(1).randbytes(256))
    board.poke(found.cells, sums.request(Range(first, first + 255)))
    core = board.processor.core
    core.pc, core.sp, core.p = found.check, 0xFD, 0x20
    before = board.processor.cycles
    while core.pc != machine.symbols["char_out"]:
        board.processor.run(board.processor.cycles + 1)
    # ldy index, 256 bytes of which the last does not branch back; ldx, lda, and six rounds of the bit loop:
    # asl and three rotates, the last in A; then sbc and the call.
    bits = 6 * (3 * CHANGE + IMPLIED + TAKEN) - (TAKEN - NOT_TAKEN)
    expected = ZERO + 256 * BYTE - (TAKEN - NOT_TAKEN) + crossed + 2 * IMPLIED + bits + IMPLIED + JSR
    assert board.processor.cycles - before == expected


def test_a_key_takes_the_receiver_what_the_table_says() -> None:
    """From the reading of a key that brings no byte to the next reading, the keys being there already."""
    receiver = Receiver()
    keys, _ = block(0x1000, Random(2).randbytes(30))
    board, machine = receiver.board, receiver.machine
    times: list[int] = []
    waiting = list(keys)

    def read() -> int:
        times.append(board.processor.cycles)
        return ord(waiting.pop(0))

    board.bus.readers[machine.symbols["key_data"]] = read
    board.bus.readers[machine.symbols["key_status"]] = lambda: 0x80 if waiting else 0x00
    while waiting:
        board.processor.run(board.processor.cycles + 1)
    between = [after - before for before, after in pairwise(times)]
    # lda key_data, sec, rol, cmp, beq not taken, sta, jsr and sum, asl keep, bne
    head = ABSOLUTE + 3 * IMPLIED + NOT_TAKEN + ZERO + JSR + SUM + CHANGE + TAKEN
    # six bits: asl keep, beq not taken, rol last, bcc taken; then asl keep and beq taken, lda, bpl not taken
    rest = 6 * (CHANGE + NOT_TAKEN + CHANGE + TAKEN) + CHANGE + TAKEN + ABSOLUTE + NOT_TAKEN
    # a byte that becomes full: bcc not taken and bcs taken instead, lda last, sta buffer,y (5), iny, cpy,
    # bcc taken, lda, sta last
    full = NOT_TAKEN + ZERO + 5 + 2 * IMPLIED + TAKEN + IMPLIED + ZERO
    assert between[0] == head + rest
    assert set(between) <= {head + rest, head + rest + full}
    assert between[1] == head + rest + full
