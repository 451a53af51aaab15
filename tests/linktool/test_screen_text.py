"""Templates of screen text: fields, marks for what cannot be known, patterns and sentences."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from formats.image import Image
from linktool import machine
from linktool.screen_text import (
    FieldError,
    Scene,
    bit_list,
    block,
    fields,
    keeping,
    matching,
    raw,
    sample,
    sentence,
)

HERON = machine.load("heron")
VALUES = {"first": 0x1000, "last": 0x1003, "turns": 0x0F, "rows": 3, "columns": 12, "skip_first": 0x9F}
SCENE = Scene(
    HERON, {**VALUES, "skip_last": 0x9F, "before": 0x7F}, {"turns": 2}, Image.from_bytes(0x1000, b"1234")
)


@pytest.mark.parametrize(
    ("template", "text"),
    [
        ("A {first}", "A 1000"),
        ("{turns}", "0F"),
        ("{turns:4}", "000F"),
        ("{turns:d}", "15"),
        ("{$2A:key}", "*"),
        ("{$41:code}", "41"),
        ("{first+turns:4}", "100F"),
        ("{?x:3}!", "...!"),
        ("{=part}", "NMOS"),
        ("{=processor}", "6502"),
        ("{=ruler}", "0134567890120234567890" + "1203"),
        ("", ""),
    ],
)
def test_fields_are_filled(template: str, text: str) -> None:
    assert sample(raw(template, SCENE)) == text


def test_the_survey_s_map_is_the_profile_s() -> None:
    rows = raw("{=survey}", SCENE).split("\n")
    assert rows[0] == "0 WWWWWWWWWWWWWWWW"
    assert rows[4] == "4 ................"
    assert rows[9] == "9 ...............I"
    assert rows[15] == "F ...............R"


def test_registers_that_are_not_skipped_may_answer_anything() -> None:
    values = {**SCENE.values, "skip_first": 0xFE, "skip_last": 0xFE, "before": 0x00}
    rows = raw("{=survey}", replace(SCENE, values=values)).split("\n")
    assert sample(rows[9]) == "9 ................"
    assert re.fullmatch(matching(rows[9]), "9 ...............P")


def test_a_checksum_is_known_where_the_bytes_are() -> None:
    """ "1234" has the CRC D789 (binascii.crc_hqx)."""
    assert raw("{=crc}", SCENE) == "D789"
    unknown = replace(SCENE, image=Image.from_bytes(0x1000, b"123"))
    assert sample(raw("{=crc}", unknown)) == "...."
    assert re.fullmatch(matching(raw("{=crc}", unknown)), "0AF9")
    assert not re.fullmatch(matching(raw("{=crc}", unknown)), "0AG9")


def test_a_cmos_profile() -> None:
    assert raw("{=part}", replace(SCENE, machine=replace(HERON, processor="65C02"))) == "CMOS"


def test_bit_7_of_a_key_s_code() -> None:
    marked = replace(SCENE, machine=replace(HERON, keys=replace(HERON.keys, high_bit=True)))
    pattern = matching(raw("{$41:code}", marked))
    assert [text for text in ("41", "C1", "51", "81") if re.fullmatch(pattern, text)] == ["41", "C1"]
    assert sample(raw("{$41:code}", marked)) == "41"


def test_what_was_printed_is_kept_by_name() -> None:
    match = re.fullmatch(keeping("{?address:4} ({?found:2}) ", SCENE), "10FF (A5)")
    assert match is not None
    assert match.groupdict() == {"address": "10FF", "found": "A5"}
    assert not re.fullmatch(keeping("{?found:2}", SCENE), "a5")


def test_a_sentence_says_what_was_kept() -> None:
    kept = {"expected": "0F", "found": "A5"}
    text = sentence("{found} for {expected} at {first}: {bits}, {bits:8}, {more} more", SCENE, kept, 3)
    assert text == "A5 for 0F at 1000: 1, 3, 5 and 7, 9, 11, 13 and 15, 3 more"


def test_several_lines_several_times() -> None:
    assert block(["A{turns}", "B"], 2, SCENE) == "A0F\nBA0F\nB"
    assert block([], 1, SCENE) == ""


@pytest.mark.parametrize(
    ("bits", "words"), [(0, ""), (1, "0"), (0x80, "7"), (0x81, "0 and 7"), (0x0B, "0, 1 and 3")]
)
def test_bits_as_words(bits: int, words: str) -> None:
    assert bit_list(bits) == words


@pytest.mark.parametrize(
    "template", ["{", "}", "{a}}", "{?a}", "{?A:2}", "{?a:0}", "{=tune}", "{a:x}", "{a:3}"]
)
def test_fields_that_cannot_be(template: str) -> None:
    with pytest.raises(FieldError):
        fields(template)


def test_templates_are_text_and_not_patterns() -> None:
    assert re.fullmatch(keeping("A.*[B] \\d", SCENE), "A.*[B] \\d")
    assert not re.fullmatch(keeping("A.", SCENE), "AB")
