"""Frames, and 7-bit frames made with eight bits."""

from __future__ import annotations

import pytest

from linktool.errors import UsageError
from linktool.frame import AS_IT_IS, Frame, on_eight_bits, on_pseudo_terminal, read_frame
from linktool.machine import frame_bits


def on_the_wire(code: int, data_bits: int, parity: str, stop_bits: int) -> list[int]:
    """The bits of one character in the order they are sent: CACM 8(9), 1965, 553-556 (start 0, seven bits,
    parity, stop 1); low bit first: CCITT V.4. Even parity: with that bit the number of ones is even."""
    bits = [code >> place & 1 for place in range(data_bits)]
    check = {"N": [], "E": [sum(bits) % 2], "O": [1 - sum(bits) % 2]}[parity]
    return [0, *bits, *check, *[1] * stop_bits]


@pytest.mark.parametrize("text", ["7E1", "7O1", "7N2", "7E2"])
def test_the_eight_bit_form_is_the_same_on_the_wire(text: str) -> None:
    same = on_eight_bits(text)
    assert same is not None
    for code in range(128):
        real = on_the_wire(code, int(text[0]), text[1], int(text[2]))
        made = on_the_wire(same.outgoing[code], same.data_bits, same.parity, same.stop_bits)
        assert made == real
        assert same.incoming[same.outgoing[code]] == code


def test_the_letter_a_with_even_and_odd_parity() -> None:
    """From memory, and plain to count: A is 1000001, two ones; C is 1000011, three."""
    even, odd = on_eight_bits("7E1"), on_eight_bits("7O1")
    assert even is not None and odd is not None
    assert bytes(even.outgoing[code] for code in b"AC") == b"\x41\xc3"
    assert bytes(odd.outgoing[code] for code in b"AC") == b"\xc1\x43"


@pytest.mark.parametrize("text", ["7N1", "8E1", "8O1", "8N1", "8N2"])
def test_frames_of_another_length_have_no_such_form(text: str) -> None:
    """Bits a character (CHECKS of the same source): 7N1 has 9, 8E1 has 11; 8N1 and 8N2 need none."""
    assert on_eight_bits(text) is None


def test_the_forms_have_as_many_bits_as_the_frames() -> None:
    for text in ("7E1", "7O1", "7N2", "7E2"):
        same = on_eight_bits(text)
        assert same is not None
        assert frame_bits(text) == 1 + same.data_bits + same.stop_bits


def test_frames_are_read() -> None:
    assert read_frame("8N2") == Frame(8, "N", 2)
    frame = read_frame("7E1")
    assert (frame.data_bits, frame.parity, frame.stop_bits) == (7, "E", 1)
    assert frame.outgoing[0xC1] == frame.incoming[0xC1] == 0x41
    assert read_frame("8E1").outgoing == AS_IT_IS


def test_a_pseudo_terminal_gets_bytes_without_parity() -> None:
    frame = on_pseudo_terminal("7E1")
    assert (frame.data_bits, frame.parity) == (8, "N")
    assert frame.outgoing[ord("C")] == ord("C") and frame.incoming[0xC3] == ord("C")
    assert on_pseudo_terminal("8N1").incoming == AS_IT_IS


@pytest.mark.parametrize("text", ["", "8", "8n1", "9N1", "8X1", "8N3", "8N15"])
def test_what_is_no_frame_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="8N1 or 7E1"):
        read_frame(text)
