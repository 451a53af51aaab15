"""The adapter: when a byte is there, on either side, and which never is."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from linktool import machine as profiles
from linktool.board.adapter import Adapter, Wire, wire_of
from linktool.board.wire_faults import WireFault
from linktool.machine import Machine

HERON = profiles.load("heron")
TEN_BITS_AT_2400 = 10 / 2400


def adapter(machine: Machine = HERON, faults: tuple[WireFault, ...] = (), **wire: float) -> Adapter:
    return Adapter(machine, wire_of(machine, **wire), faults, Random(1))


def test_a_key_comes_after_latency_and_its_own_time():
    down = adapter(latency_s=0.016)
    assert down.key(1.0, 0x41) == [(pytest.approx(1.016 + TEN_BITS_AT_2400), 0x41)]


def test_keys_sent_at_once_follow_each_other_at_the_rate():
    down = adapter(latency_s=0.016)
    times = [at for code in b"ABC" for at, _ in down.key(1.0, code)]
    assert times == pytest.approx([1.016 + TEN_BITS_AT_2400 * n for n in (1, 2, 3)])


def test_printed_characters_reach_the_host_in_order_and_no_faster_than_the_rate():
    up = adapter(latency_s=0.016)
    for code in b"AB":
        up.printed(2.0, code)
    up.printed(3.0, 0x43)
    times, codes = zip(*up.to_host, strict=True)
    assert bytes(codes) == b"ABC"
    assert times == pytest.approx(
        [2.016 + TEN_BITS_AT_2400, 2.016 + 2 * TEN_BITS_AT_2400, 3.016 + TEN_BITS_AT_2400]
    )


def test_jitter_makes_bytes_late_but_never_changes_their_order():
    up = adapter(latency_s=0.001, jitter_s=0.05)
    for number in range(100):
        up.printed(number * 0.01, 0x41)
    times = [at for at, _ in up.to_host]
    assert times == sorted(times)
    late = [at - number * 0.01 - 0.001 - TEN_BITS_AT_2400 for number, at in enumerate(times)]
    assert min(late) >= -1e-9 and max(late) > 0.03


def test_a_key_too_close_to_the_one_before_is_lost_with_a_strobe():
    down = adapter(strobe_s=0.010)
    assert len(down.key(0.0, 0x41)) == 1
    assert down.key(0.0, 0x42) == []
    assert len(down.key(0.0101, 0x43)) == 1
    assert down.lost == 1


def test_seven_bits_reach_the_keyboard_and_an_adapter_may_want_the_eighth():
    assert adapter().key(0.0, 0xC1)[0][1] == 0x41
    marked = adapter(replace(HERON, keys=replace(HERON.keys, high_bit=True)))
    assert marked.key(0.0, 0x41) == []
    assert marked.key(0.0, 0xC1)[0][1] == 0x41
    assert marked.lost == 1


@pytest.mark.parametrize(("newline", "heard"), [("cr", b"\rA"), ("lf", b"\nA"), ("crlf", b"\r\nA")])
def test_a_new_line_reaches_the_host_as_the_profile_says(newline, heard):
    up = adapter(replace(HERON, link=replace(HERON.link, newline=newline)))
    up.printed(0.0, 0x0D)
    up.printed(0.0, 0x41)
    assert bytes(code for _, code in up.to_host) == heard


def test_an_adapter_without_echo_sends_nothing_back():
    up = adapter(replace(HERON, link=replace(HERON.link, echo=False)))
    up.printed(0.0, 0x41)
    assert not up.to_host


def test_the_wire_is_the_profiles_unless_set():
    assert wire_of(HERON) == Wire(2400, 10, 0.002)
    machine = replace(HERON, link=replace(HERON.link, rate=300, frame="7E2"))
    assert wire_of(machine, latency_s=0.1) == Wire(300, 11, 0.1)
