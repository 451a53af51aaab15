"""Evidence: samples from checks and images, and how a profile's memory divides into banks."""

from __future__ import annotations

from formats.image import Image
from linktool import machine as profiles
from linktool.evidence import Evidence, Sample, banks_of, from_check, from_images
from linktool.jobs.report import Finding

HERON = profiles.load("heron")


def test_a_sample_knows_what_is_wrong_and_whether_it_held_still():
    assert Sample(0x1000, 0b1010, (0b1000,)).wrong == 0b0010
    assert Sample(0x1000, 5, (5, 5)).steady and not Sample(0x1000, 5, (5, 4)).steady


def test_a_check_becomes_one_round_with_right_and_wrong_bytes():
    proven = Image.from_bytes(0x1000, b"\x01\x02\x03")
    findings = [
        Finding(0x1003, 0x04, 0x06, "memory"),
        Finding(0x1004, 0x05, 0x04, "unsteady"),
        Finding(0x1005, 0x06, None, "unread"),
    ]
    evidence = from_check("check", proven, findings, noise=2)
    assert evidence.noise == 2 and len(evidence.rounds) == 1
    assert [sample.address for sample in evidence.samples()] == [0x1000, 0x1001, 0x1002, 0x1003, 0x1004]
    assert evidence.wrong == 2
    unsteady = evidence.rounds[0][-1]
    assert not unsteady.steady and set(unsteady.readings) == {0x05, 0x04}


def test_addresses_that_were_not_read_are_no_evidence():
    evidence = from_images("rom", Image.from_bytes(0xFF00, b"\x01\x02"), Image.from_bytes(0xFF01, b"\x02"))
    assert [sample.address for sample in evidence.samples()] == [0xFF01]
    assert Evidence("check", ()).wrong == 0


def test_banks_are_as_the_chips_divide_them():
    banks = banks_of(HERON)
    assert [str(bank.range) for bank in banks] == [
        "0000-0FFF",
        "1000-1FFF",
        "2000-2FFF",
        "3000-3FFF",
        "FF00-FFFF",
    ]
    assert [bank.lines for bank in banks] == [12, 12, 12, 12, 8]
    chip = banks[1].chip(3)
    assert chip is not None and chip.position == "K7"
    rom = banks[4].chip(0)
    assert rom is not None and rom.position == "J12" and banks[4].kind == "rom"


MIXED = """
[machine]
name = "mixed"
title = "half with chips"
[[area]]
first = "0000"
last = "0FFF"
kind = "ram"
[[chip]]
position = "A1"
first = "0400"
last = "07FF"
bits = [0, 1, 2, 3]
[[chip]]
position = "A2"
first = "0400"
last = "07FF"
bits = [4, 5, 6, 7]
[[chip]]
position = "A3"
first = "0400"
last = "07FF"
bits = [7]
[dialect]
deposit = "{address}:{bytes}"
examine = "{first}-{last}"
run = "{address}G"
ready = "="
cancel_key = "\\u001B"
cancel_answer = "="
"""


def test_memory_without_chips_is_a_bank_and_two_chips_for_a_bit_name_none():
    banks = banks_of(profiles.parse(MIXED, "mixed.toml"))
    assert [str(bank.range) for bank in banks] == ["0000-03FF", "0400-07FF", "0800-0FFF"]
    assert banks[0].chips == () and banks[0].chip(0) is None
    lower, twice = banks[1].chip(2), banks[1].chip(7)
    assert lower is not None and lower.position == "A1" and twice is None
