"""Profiles: the shipped ones load, and a wrong one is refused with file, key and what is allowed."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats.image import Image, Range
from linktool import machine as profiles
from linktool.errors import ProfileError

HERON = profiles.load("heron")
GOOD = (profiles.SHIPPED / "heron.toml").read_text("utf-8")


@pytest.mark.parametrize("path", profiles.shipped(), ids=lambda path: path.stem)
def test_shipped_profiles_load_and_are_named_as_their_files(path):
    machine = profiles.load(path.stem)
    assert machine.name == path.stem
    assert machine.dialect.cancel_key
    assert profiles.load(str(path)) == machine


def test_the_map_covers_all_addresses_once():
    whole = HERON.map()
    assert whole[0].range.first == 0
    assert whole[-1].range.last == 0xFFFF
    assert sum(len(area.range) for area in whole) == 0x10000


def test_kinds():
    kinds = {0x0280: "ram", 0x3FFF: "ram", 0x4000: "none", 0x9F00: "io", 0xFF00: "rom"}
    assert {address: HERON.kind_at(address) for address in kinds} == kinds


def test_what_would_harm_is_named_and_narrowed():
    image = Image.from_runs([(0x0270, bytes(0x20)), (0x3FF0, bytes(0x20)), (0x9F01, b"\0"), (0xFF10, b"\0")])
    found = [(area.name, area.range) for area in HERON.hindrances(image)]
    assert found == [
        ("line-buffer", Range(0x0270, 0x027F)),
        ("none", Range(0x4000, 0x400F)),
        ("io", Range(0x9F01, 0x9F01)),
        ("rom", Range(0xFF10, 0xFF10)),
    ]
    forced = HERON.hindrances(image, ["LINE-BUFFER", "none", "io"])
    assert [area.name for area in forced] == ["rom"]


def test_every_chip_position_stands_once_and_every_ram_bit_has_its_chip():
    positions = [chip.position for chip in HERON.chips]
    assert len(positions) == len(set(positions))
    for address in (0x0000, 0x1000, 0x2FFF, 0x3FFF):
        bits = [bit for chip in HERON.chips if address in chip.range for bit in chip.bits]
        assert sorted(bits) == list(range(8))


WRONG = [
    ('kind = "ram"', 'kind = "sram"', r"\[area 1\] kind is 'sram'; allowed: ram, rom, io, none"),
    ('name = "heron"', 'name = "He ron"', r"\[machine\] name is 'He ron'; allowed"),
    ("clock_hz = 1_000_000", "clock_hz = 1", r"\[machine\] clock_hz is 1; allowed: a number from 10000"),
    ("columns = 40", "columns = true", r"\[screen\] columns is true; allowed: a whole number"),
    ("rate = 2400", 'rate = "fast"', r"\[link\] rate is 'fast'; allowed: a whole number"),
    ('frame = "8N1"', 'frame = "9N1"', r"\[link\] frame is '9N1'; allowed: 8N1"),
    ('newline = "cr"', 'newlines = "cr"', r"\[link\] newlines is not known; allowed: rate, frame"),
    ('monitor = "FF0D"', 'monitor = "1FF00"', r"\[symbols\] monitor is '1FF00'; allowed: a hexadecimal"),
    ('first = "1000"', 'first = "0FFF"', r"area 1000-1FFF|0FFF-1FFF overlaps 0000-0FFF"),
    ('last = "0FFF"', 'last = "xyz"', r"\[area 1\] last is 'xyz'; allowed: a hexadecimal address"),
    ('deposit = "{address}:{bytes}"', 'deposit = "{address}:"', r"deposit is '\{address\}:'; allowed"),
    ('examine = "{first}-{last}"', 'examine = "{fist}"', r"examine is '\{fist\}'; allowed: text with"),
    ('end_key = "\\r"', 'end_key = "\\r\\n"', r"end_key is .*; allowed: one 7-bit character"),
    ("bits = [0]", "bits = [8]", r"\[chip 1\] bits is \[8\]; allowed: a list of bit numbers"),
    ("[link]", "[links]", r"\[top level\] links is not known; allowed: machine"),
    ("[machine]", "[machine", r"is not TOML"),
]


@pytest.mark.parametrize(("good", "bad", "words"), WRONG, ids=[bad for _, bad, _ in WRONG])
def test_a_wrong_key_is_refused_with_what_is_allowed(good, bad, words):
    assert good in GOOD
    with pytest.raises(ProfileError, match=words) as caught:
        profiles.parse(GOOD.replace(good, bad, 1), "mine.toml")
    assert str(caught.value).startswith("mine.toml: ")


@given(st.integers(0, len(GOOD) - 1), st.text(max_size=3), st.integers(0, 40))
def test_a_damaged_profile_is_read_or_refused_and_nothing_else(place, put, cut):
    try:
        profiles.parse(GOOD[:place] + put + GOOD[place + cut :], "mine.toml")
    except ProfileError as error:
        assert "mine.toml" in str(error)


def test_no_such_machine_names_those_there_are():
    with pytest.raises(ProfileError, match=re.escape("Known machines: dot, heron")):
        profiles.load("hero")


def test_the_user_s_own_profiles_come_first(tmp_path):
    (tmp_path / "heron.toml").write_text(GOOD.replace("Heron training board", "My board"))
    assert profiles.load("heron", tmp_path).title.startswith("My board")


@pytest.mark.parametrize(
    ("frame", "bits"),
    # asynchronous character: start, data, parity, stop (CACM 8(9), 1965, 553-556; table computed)
    [("7N1", 9), ("8N1", 10), ("7E1", 10), ("7N2", 10), ("8E1", 11), ("8N2", 11), ("7E2", 11)],
)
def test_bits_of_a_frame(frame, bits):
    assert profiles.frame_bits(frame) == bits


def test_characters_a_second():
    link = profiles.with_link(HERON, rate=2400, frame="8N1").link
    assert profiles.characters_per_second(link) == 240
    link = profiles.with_link(HERON, rate=9600, frame="7E1").link
    assert profiles.characters_per_second(link) == 960
    link = profiles.with_link(HERON, rate=110, frame="7E2").link
    assert profiles.characters_per_second(link) == 10  # teletype, 11 bits
