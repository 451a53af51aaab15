"""Telnet framing: RFC 854 (commands, IAC doubled), RFC 855 (SB ... SE); fed whole, in pieces, with junk."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from linktool.telnet import DO, DONT, LONGEST_ADVICE, SB, WILL, Command, TelnetReader, advice, escaped, option


def test_the_codes_are_those_of_the_standard() -> None:
    """RFC 854: IAC 255, DON'T 254, DO 253, WON'T 252, WILL 251, SB 250, SE 240; RFC 856: binary is 0."""
    assert option(WILL, 0) == b"\xff\xfb\x00"
    assert option(DO, 44) == b"\xff\xfd\x2c"
    # RFC 2217: SET-BAUDRATE 2400 is IAC SB 44 1 and four octets in network order, IAC SE.
    assert advice(44, b"\x01" + (2400).to_bytes(4, "big")) == bytes.fromhex("FFFA2C0100000960FFF0")
    assert escaped(b"A\xffB") == b"A\xff\xffB"


TEXT = b"02\xff\xff80" + option(DO, 44) + b":" + advice(44, b"\x65\xff\x01") + b" A9" + option(DONT, 1)
DATA = b"02\xff80: A9"
COMMANDS = [Command(DO, 44), Command(SB, 44, b"\x65\xff\x01"), Command(DONT, 1)]


def test_data_and_commands_come_apart() -> None:
    assert TelnetReader().feed(TEXT) == (DATA, COMMANDS)


@given(st.lists(st.integers(0, len(TEXT)), max_size=8))
def test_pieces_make_no_difference(cuts: list[int]) -> None:
    reader = TelnetReader()
    data, commands = b"", []
    places = [0, *sorted(cuts), len(TEXT)]
    for start, end in pairwise(places):
        part, found = reader.feed(TEXT[start:end])
        data += part
        commands += found
    assert (data, commands) == (DATA, COMMANDS)


@given(st.binary(max_size=100))
def test_any_data_passes_when_escaped(data: bytes) -> None:
    assert TelnetReader().feed(escaped(data)) == (data, [])


@given(st.binary(max_size=100))
def test_any_bytes_do_no_harm(junk: bytes) -> None:
    reader = TelnetReader()
    reader.feed(junk)
    reader.feed(b"\xff\xf0" * 2)  # the end of whatever was open
    assert reader.feed(b"0280")[0].endswith(b"280")


def test_other_commands_are_left_out() -> None:
    """RFC 854: no operation 241, go ahead 249."""
    assert TelnetReader().feed(b"A\xff\xf1B\xff\xf9C") == (b"ABC", [])


def test_an_advice_without_end_does_not_fill_the_memory() -> None:
    reader = TelnetReader()
    reader.feed(b"\xff\xfa\x2c")
    for _ in range(10):
        reader.feed(bytes(10_000))
    _, (command,) = reader.feed(b"\xff\xf0")
    assert len(command.said) < LONGEST_ADVICE
