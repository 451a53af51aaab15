"""Profiles written as TOML: the same machine comes back, by our own reader and by Python's."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from linktool import machine as profiles
from linktool.machine import parse
from linktool.profile_text import as_toml

NAMES = [path.stem for path in profiles.shipped()]


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_profile_comes_back(name):
    machine = profiles.load(name)
    again = parse(as_toml(machine), "again")
    assert replace(again, source=machine.source) == machine


@pytest.mark.parametrize("name", NAMES)
def test_the_text_is_toml_with_the_same_values(name):
    written = tomllib.loads(as_toml(profiles.load(name)))
    shipped = tomllib.loads(profiles.available()[name].read_text())
    for key in ("machine", "area", "reserved", "symbols"):
        assert written[key] == shipped[key]


def test_odd_texts_and_every_link_setting_survive():
    heron = profiles.load("heron")
    machine = replace(
        heron,
        title='a "title" with \\ and é',
        keys=replace(heron.keys, high_bit=True, extra={"break": "\x03", "odd key": "\x7f"}),
        link=replace(
            heron.link, rate=9600, frame="7E1", flow="rtscts", echo=False, pacing="timed", key_delay_s=0.25,
            line_delay_s=1.5, newline="lf", dtr=False, rts=True, settle_s=2.0, window=3, latch=2,
        ),
        dialect=replace(heron.dialect, cancel_key="\x18", cancel_answer="\\\r*", ready="*"),
    )  # fmt: skip
    assert replace(parse(as_toml(machine), "again"), source=machine.source) == machine


def test_a_person_finds_what_each_key_means():
    text = as_toml(profiles.load("heron"), ["Written for the workshop."])
    assert text.startswith("# Written for the workshop.\n")
    assert "# the key that drops the line in hand" in text
