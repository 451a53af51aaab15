"""The receiver itself, on the board's processor: what it takes, what it leaves alone, how fast it is."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from linktool.resident.block_plan import BLOCK_CYCLES, COPY_CYCLES
from linktool.resident.blocks import KEYS, block, end_block
from linktool.resident.pace import LEAST_KEY_CYCLES
from tests.linktool.resident.rig import Receiver

TARGET = 0x1000


@pytest.mark.parametrize("name", ["heron", "dot"])
def test_a_block_goes_where_it_says_and_is_answered(name):
    receiver = Receiver(name)
    data = Random(1).randbytes(186)
    keys, answer = block(TARGET, data)
    assert receiver.strike(keys + receiver.mark * 4) == answer
    assert receiver.board.memory(TARGET, TARGET + 185) == data


def test_the_end_block_brings_the_monitor_back():
    receiver = Receiver()
    assert receiver.strike(end_block() + receiver.mark) == "\r="


def test_a_block_given_twice_does_no_harm():
    receiver = Receiver()
    keys, answer = block(TARGET, b"HERON")
    before = receiver.memory()
    assert receiver.strike(keys + 3 * receiver.mark) == answer
    once = receiver.memory()
    assert receiver.strike(20 * receiver.mark + keys + 3 * receiver.mark) == answer
    after = receiver.memory()
    changed = [at for at in range(0x200, 0x10000) if before[at] != after[at]]
    assert set(changed) <= set(range(TARGET, TARGET + 5))
    assert once[0x200:] == after[0x200:] and after[TARGET : TARGET + 5] == b"HERON"


def spoilt(draw: Random, keys: str, mark: str) -> str:
    """The keys of two blocks with one to three faults of any kind."""
    for _fault in range(draw.randint(1, 3)):
        at = draw.randrange(len(keys))
        kind = draw.choice(("lost", "doubled", "changed", "mark", "cut", "moved"))
        if kind == "lost":
            keys = keys[:at] + keys[at + 1 :]
        elif kind == "doubled":
            keys = keys[:at] + keys[at] + keys[at:]
        elif kind == "changed":
            keys = keys[:at] + draw.choice(KEYS) + keys[at + 1 :]
        elif kind == "mark":
            keys = keys[:at] + mark + keys[at:]
        elif kind == "cut":
            keys = keys[:at]
        else:
            keys = keys[at:] + keys[:at]
        keys = keys or mark
    return keys


def test_spoilt_blocks_write_nothing_but_what_a_whole_block_names():
    """Whatever comes, memory holds what it held, or what one of the blocks says; page zero's cells apart."""
    draw = Random(7)
    receiver = Receiver(spacing=400)
    cells = receiver.routines.placement.page_zero
    for _case in range(100):
        first, second = draw.randbytes(draw.randint(1, 40)), draw.randbytes(draw.randint(1, 40))
        blocks = [(0x1000, first), (0x2000, second)]
        keys = "".join(block(at, data)[0] + receiver.mark for at, data in blocks)
        before = bytearray(receiver.memory())
        receiver.strike(receiver.mark + spoilt(draw, keys, receiver.mark) + receiver.mark * 3)
        after = receiver.memory()
        kept = bytearray(after)
        for where, data in blocks:
            kept[where : where + len(data)] = before[where : where + len(data)]
        kept[cells.first : cells.last + 1] = before[cells.first : cells.last + 1]
        kept[0x01E0:0x0200] = before[0x01E0:0x0200]
        assert kept == before, "written where no block says"
        for where, data in blocks:
            now = after[where : where + len(data)]
            assert now in (data, bytes(before[where : where + len(data)])), "a block goes in whole or not"


def test_more_keys_than_the_buffer_holds_stay_in_it():
    receiver = Receiver(size=60, spacing=400)
    zero = receiver.routines.placement.page_zero
    before = receiver.memory()
    receiver.strike(Random(5).choice(KEYS) * 900 + receiver.mark)
    after = receiver.memory()
    strays = [at for at in range(0x10000) if before[at] != after[at] and at not in zero]
    assert all(0x01E0 <= at <= 0x01FF for at in strays)
    assert receiver.strike(end_block() + receiver.mark) == "\r="


def test_bit_seven_of_the_keyboard_register_is_not_looked_at():
    receiver = Receiver()
    keys, answer = block(TARGET, b"HERON")
    marked = "".join(chr(ord(key) | 0x80) for key in keys + receiver.mark)
    assert receiver.strike(marked) == answer


def cycles_between_reads(receiver: Receiver, keys: str) -> list[int]:
    """Clock cycles from one reading of the key register to the next, every key there as soon as wanted."""
    data, status = (receiver.machine.symbols[name] for name in ("key_data", "key_status"))
    waiting = list(keys)
    board = receiver.board
    times: list[int] = []

    def read() -> int:
        times.append(board.processor.cycles)
        return ord(waiting.pop(0))

    board.bus.readers[data] = read
    board.bus.readers[status] = lambda: 0x80 if waiting else 0x00
    while waiting:
        board.processor.run(board.processor.cycles + 1)
    board.processor.run(board.processor.cycles + 400)
    return [after - before for before, after in pairwise(times)]


def test_a_key_is_dealt_with_in_less_than_the_pace_reckons():
    """960 keys a second leave 1,041 cycles at 1 MHz; where an adapter is faster, the pace leaves 330."""
    receiver = Receiver()
    keys, _ = block(TARGET, Random(3).randbytes(60))
    between = cycles_between_reads(receiver, keys)
    assert max(between) < LEAST_KEY_CYCLES
    assert 200 < sum(between) / len(between) < 300


def test_a_block_is_moved_in_the_time_that_marks_give_it():
    receiver = Receiver()
    for count in (1, 30, 186):
        keys, _ = block(TARGET, Random(count).randbytes(count))
        between = cycles_between_reads(receiver, keys + receiver.mark + receiver.mark)
        assert COPY_CYCLES * count < between[-1] < COPY_CYCLES * count + BLOCK_CYCLES
