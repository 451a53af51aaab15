"""What the checker and the receiver compute on the board's processor, against published CRC figures.

Sources: binascii.crc_hqx of the Python library (its documentation: polynomial 1021, CRC-CCITT); the check
values of "123456789" for CRC-16/XMODEM (31C3) and CRC-16/IBM-3740 (29B1) in the RevEng Catalogue of
parametrised CRC algorithms; 7E55 for the bytes 00 to FF is crc_hqx's own. A CRC of degree 16 finds all
bursts of up to 16 bits, and this one all errors of up to three bits in 4,093 bytes (the order of its
polynomial, 32,767).
"""

from __future__ import annotations

import binascii
from random import Random

import pytest

from formats.image import Range
from linktool.board import open_board
from linktool.board.board import Board
from linktool.machine import load
from linktool.resident import placement, routines, sums
from linktool.resident.blocks import KEYS, block, key_sum

HERON = load("heron")
PLACE = placement.places(HERON, routines.length(True), True, [])[0]
BUILT = routines.assembled(HERON, PLACE)
CHAR_OUT, MONITOR = HERON.symbols["char_out"], HERON.symbols["monitor"]


def board_with_routines() -> Board:
    board = open_board("board:")
    for image in (BUILT.checker, BUILT.receiver):
        board.poke(image.segments[0].first, image.segments[0].data)
    return board


def summed(data: bytes, start: int, at: int = 0x1000) -> list[str]:
    """What the checker hands to char_out, run over `data` from a start of 16 bits."""
    board = board_with_routines()
    board.poke(at, data)
    request = bytearray(sums.request(Range(at, at + len(data) - 1)))
    request[4:7] = bytes([start >> 8, start & 0xFF, 0])
    board.poke(PLACE.cells, bytes(request))
    core = board.processor.core
    core.pc, core.sp, core.p = BUILT.check, 0xFD, 0x20
    printed = []
    for _step in range(200_000):
        if core.pc == CHAR_OUT:
            printed.append(chr(core.a))
            core.pc = ((board.bus[0x100 + core.sp + 1] | board.bus[0x100 + core.sp + 2] << 8) + 1) & 0xFFFF
            core.sp = (core.sp + 2) & 0xFF
        elif core.pc == MONITOR:
            return printed
        board.processor.run(board.processor.cycles + 1)
    raise AssertionError("the checker did not come back")


def value(characters: list[str]) -> int:
    """The 24 bits of four characters."""
    number = 0
    for character in characters:
        number = number << 6 | (ord(character) - 0x20)
    return number


@pytest.mark.parametrize(
    ("data", "start", "crc"),
    [
        (b"123456789", 0x0000, 0x31C3),
        (b"123456789", 0xFFFF, 0x29B1),
        (bytes(range(256)), 0x0000, 0x7E55),
        (b"\xff" * 256, 0x0000, 0x1AC7),
        (b"\x01\x02\x03\x04", 0xFFFF, 0x89C3),
        (b"\x01", 0x0000, 0x1021),
    ],
)
def test_the_checker_on_the_processor_gives_the_published_crc(data: bytes, start: int, crc: int) -> None:
    assert value(summed(data, start)) >> 8 == crc


@pytest.mark.parametrize("length", [1, 2, 255, 256, 257, 600])
def test_each_piece_begins_with_a_one_and_its_length_and_is_summed_as_crc_hqx_does(length: int) -> None:
    data = Random(length).randbytes(length)
    stretch = Range(0x1000, 0x1000 + length - 1)
    printed = summed(data, sums.start(len(sums.pieces(stretch)[0])) >> 8)
    for number, piece in enumerate(sums.pieces(stretch)):
        part = data[piece.first - 0x1000 : piece.last - 0x1000 + 1]
        found = value(printed[4 * number : 4 * number + 4])
        assert found >> 8 == binascii.crc_hqx(part, 0x0100 | len(part) & 0xFF)
        assert found == sums.sum_of(part)


def test_leading_zeros_and_length_change_the_sum() -> None:
    zeros = [sums.sum_of(bytes(length) + b"A") for length in range(256)]
    assert len({each >> 8 for each in zeros}) == 256


def test_bursts_of_sixteen_bits_and_three_single_bits_are_always_found() -> None:
    draw = Random(1)
    data = draw.randbytes(256)
    right = sums.sum_of(data) >> 8
    number = int.from_bytes(data, "big")
    for _case in range(400):
        burst = (draw.randrange(1 << 15) << 1 | 1) << draw.randrange(256 * 8 - 16)
        bits = sum(1 << at for at in draw.sample(range(256 * 8), draw.randint(1, 3)))
        for error in (burst, bits):
            assert sums.sum_of((number ^ error).to_bytes(256, "big")) >> 8 != right


def test_what_the_crc_takes_for_right_the_eight_bits_beside_it_find_but_one_in_256() -> None:
    """Errors that are multiples of the polynomial: 11021 (hex) shifted and added; no CRC-16 sees them."""
    draw = Random(2)
    seen, cases = 0, 2000
    for _case in range(cases):
        data = draw.randbytes(64)
        error = 0
        for _term in range(draw.randint(1, 6)):
            error ^= 0x11021 << draw.randrange(64 * 8 - 17)
        other = (int.from_bytes(data, "big") ^ error).to_bytes(64, "big")
        if other == data:
            continue
        assert binascii.crc_hqx(other, 0) == binascii.crc_hqx(data, 0)
        seen += sums.sum_of(other) != sums.sum_of(data)
    assert seen > cases * 0.97


def test_errors_that_the_checkers_crc_misses_are_not_those_the_receiver_misses() -> None:
    """A block's sum is over keys, a piece's over bytes: the same wrong bytes are no multiple in both."""
    draw = Random(3)
    missed = 0
    for _case in range(120):
        data = draw.randbytes(60)
        error = 0x11021 << draw.randrange(60 * 8 - 17)
        other = (int.from_bytes(data, "big") ^ error).to_bytes(60, "big")
        keys, _ = block(0x1000, data)
        closing = keys[-5:]
        spoilt = block(0x1000, other)[0][:-5] + closing
        assert binascii.crc_hqx(other, 0) == binascii.crc_hqx(data, 0)
        missed += key_sum(spoilt) >> 8 == 0
    assert missed <= 1


def test_keys_are_the_64_characters_and_their_low_six_bits_the_value() -> None:
    """Columns 2 to 5 of the code table, RFC 20."""
    assert sorted(KEYS) == [chr(code) for code in range(0x20, 0x60)]
    assert [ord(key) & 0x3F for key in KEYS] == list(range(64))


def test_a_block_is_a_codeword_by_crc_hqx_too() -> None:
    """As the receiver sums it: each key twice its code and one, from a start of 0101 (hex)."""
    for length in (1, 2, 3, 30, 186):
        keys, _ = block(0x0280, Random(length).randbytes(length))
        codes = bytes((2 * ord(key) + 1) & 0xFF for key in keys)
        assert binascii.crc_hqx(codes, 0x0101) == 0
