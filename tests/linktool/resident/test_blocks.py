"""Blocks, taken apart by a model of the receiver written from the description alone."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linktool.resident.blocks import ANSWERS, KEYS, block, end_block, key_sum, spelled, tight_block
from linktool.waking import LEAVE_RECEIVER


def taken_apart(keys: str) -> tuple[int, bytes]:
    """Address and data of a block: six low bits of each key, then bytes of eight: address less one, low byte
    first, count, data."""
    bits = "".join(f"{ord(key) & 0x3F:06b}" for key in keys)
    content = bytes(int(bits[at : at + 8], 2) for at in range(0, len(bits) // 8 * 8, 8))
    address = (content[0] | content[1] << 8) + 1
    return address & 0xFFFF, content[3 : 3 + content[2]]


@settings(max_examples=60)
@given(st.integers(0, 0xFF00), st.binary(min_size=1, max_size=255))
def test_a_block_holds_its_bytes_and_sums_to_nothing(address, data):
    keys, answer = block(address, data)
    assert taken_apart(keys) == (address, data)
    assert key_sum(keys) == 0
    assert keys[-1] == answer and answer in ANSWERS
    assert set(keys) <= set(KEYS) and len(keys) % 4 == 1


@settings(max_examples=40)
@given(st.binary(min_size=1, max_size=60), st.integers(0, 200), st.integers(0, 200), st.data())
def test_a_spoilt_block_does_not_sum_to_nothing(data, first, second, draw):
    keys, _ = block(0x0280, data)
    spoilt = list(keys)
    for at in {first % len(keys), second % len(keys)}:
        spoilt[at] = draw.draw(st.sampled_from(KEYS))
    lost = keys[: first % len(keys)] + keys[first % len(keys) + 1 :]
    doubled = keys[: first % len(keys)] + keys[first % len(keys)] + keys[first % len(keys) :]
    assert "".join(spoilt) == keys or key_sum("".join(spoilt)) != 0
    assert key_sum(lost) != 0 and key_sum(doubled) != 0


def test_the_answer_is_one_of_those_asked_for():
    for answer in ANSWERS:
        assert block(0x0300, b"heron", answer)[1] == answer


def test_a_block_without_more_filling_than_must_be_is_not_always_to_be_had():
    found = [tight_block(0x0300 + at, b"heron!", "A") for at in range(200)]
    assert any(found) and not all(found)
    shortest = min(len(keys) for keys, _ in filter(None, found))
    assert shortest == len(spelled(bytes(3) + b"heron!")) + 5


def test_no_data_is_no_block_and_neither_is_too_much():
    for address, data in ((0x0300, b""), (0x0300, bytes(256)), (0xFFFF, b"ab")):
        with pytest.raises(ValueError, match="no block"):
            block(address, data)


def test_the_last_block_names_no_bytes_and_is_the_one_that_waking_knows():
    keys = end_block()
    assert taken_apart(keys)[1] == b"" and key_sum(keys) == 0
    assert keys == LEAVE_RECEIVER


def test_no_key_ends_or_cancels_a_line():
    assert not set(KEYS) & {"\r", "\n", "\x1b", "\x08", "\x7f"}
