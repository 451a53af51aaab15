"""Specs of faults that are wrong, and what is said of each."""

from __future__ import annotations

from dataclasses import replace

import pytest

from linktool import machine as profiles
from linktool.board import faults as table
from linktool.errors import UsageError

HERON = profiles.load("heron")


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        ("broken", "no fault is called 'broken'. Known faults: keys-lost, "),
        ("keys-lost", "the probability is missing; allowed: keys-lost:PROBABILITY"),
        ("keys-lost:2", "the probability is '2'; allowed: a number from 0 to 1"),
        ("keys-lost:nan", "the probability is 'nan'"),
        ("keys-lost:0.1:2", "'2' is too much"),
        ("stuck:0280:8:0", "the bit is '8'; allowed: 0 to 7"),
        ("stuck:0280:1:2", "the value is '2'; allowed: 0, 1"),
        ("stuck:02G0:1:0", "'02G0' is no address; allowed: 0000 to FFFF, hexadecimal"),
        ("stuck:0300-0280:1:0", "range 0300-0280 runs backwards"),
        ("stuck-chip:Q1:0", "no chip is at 'Q1'; allowed: J10, J9"),
        ("transition:0280:1:left", "the way is 'left'; allowed: up, down"),
        ("bits-shorted:0:1:0280:xor", "the wiring is 'xor'; allowed: and, or"),
        ("address-open:16:0", "the address line is '16'; allowed: 0 to 15"),
        ("coupling:xx:0280.0:up:0281.0", "the kind is 'xx'; allowed: in, id, st"),
        ("coupling:in:0280:up:0281.0", "the aggressor is '0280'; allowed: ADDRESS.BIT"),
        ("coupling:in:0280.0:up:0280.0", "the victim is the aggressor"),
        ("rom-bad:0280:00", "no ROM is at 0280"),
        ("rom-bad:FF00:100", "the value is '100'; allowed: 00 to FF"),
        ("forgets:0280:-1", "the time is '-1'"),
        ("reset-at:soon", "the moment is 'soon'; allowed: seconds such as 2.5s, or a count of keys"),
        ("cut-at:-1s", "the moment is '-1'"),
    ],
)
def test_a_spec_that_is_wrong_is_told_with_what_is_allowed(spec, words):
    with pytest.raises(UsageError) as caught:
        table.parse([spec], HERON, 1)
    assert words in str(caught.value)


def test_a_machine_without_chips_or_ram_says_so():
    with pytest.raises(UsageError, match="allowed: none in this profile"):
        table.parse(["stuck-chip:A1:0"], replace(HERON, chips=()), 1)
    bare = replace(HERON, areas=tuple(area for area in HERON.areas if area.kind != "ram"))
    with pytest.raises(UsageError, match="the machine has no RAM"):
        table.parse(["bits-shorted:0:1"], bare, 1)
