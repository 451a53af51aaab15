"""Judging what a program printed: outcomes, what does not count, and the first difference."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool import library, machine
from linktool.expectation import expected_screen, judge
from linktool.program_build import Built, build
from tests.linktool.program_texts import DESCRIPTION, program

HERON, DOT = machine.load("heron"), machine.load("dot")
TALKS = (
    DESCRIPTION.partition("[[outcome]]")[0]
    + """
[[outcome]]
ok = true
prints = ["READY {value}", "OK"]
says = "all well"

[[outcome]]
ok = false
prints = ["{?address:4} {?expected:2} {?found:2}"]
repeats = true
says = "{address}: bit {bits}, {more} more"

[[outcome]]
ok = false
prints = ["E{?code:1}"]
says = "error {code}"
"""
)
BUILT = build(program(TALKS), HERON)
PLAIN = build(program(TALKS), DOT)


@pytest.mark.parametrize(
    "text",
    [
        "READY 41\rOK",
        "\rREADY 41\rOK\r=",
        "\r\nREADY 41\r\nOK\r\n=",
        "\n\nREADY 41  \nOK   \n\n=",
        "READY 41\rOK=",
    ],
)
def test_new_lines_blanks_and_the_prompt_do_not_count(text: str) -> None:
    verdict = judge(BUILT, text)
    assert (verdict.ok, verdict.sentence, verdict.findings) == (True, "all well", ())


def test_a_machine_without_a_prompt() -> None:
    assert judge(PLAIN, "\rREADY 41\rOK\r").ok
    assert not judge(PLAIN, "\rREADY 41\rOK\r=").ok


def test_known_faults_are_told_with_their_findings() -> None:
    verdict = judge(BUILT, "\r1000 55 54\r1001 AA 2A\r=")
    assert not verdict.ok
    assert verdict.known
    assert verdict.sentence == "1000: bit 0, 1 more"
    assert verdict.findings == (
        {"address": 0x1000, "expected": 0x55, "found": 0x54},
        {"address": 0x1001, "expected": 0xAA, "found": 0x2A},
    )
    assert judge(BUILT, "E7\r=").findings == ({"code": 7},)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", 'it printed nothing; expected: "READY 41"'),
        ("\r=", 'it printed nothing; expected: "READY 41"'),
        ("READY 42\rOK\r=", 'line 1 reads "READY 42"; expected: "READY 41"'),
        ("READY 41\rKO", 'line 2 reads "KO"; expected: "OK"'),
        ("READY 41", 'it stopped after line 1; next should come: "OK"'),
        ("READY 41\rOK\rOK", 'line 3 reads "OK"; expected: nothing more'),
        ("READY 41\r\rOK", 'line 2 reads ""; expected: "OK"'),
        ("1000 55 54\rXX", 'line 1 reads "1000 55 54"; expected: "READY 41"'),
    ],
)
def test_anything_else_is_told_by_its_first_difference(text: str, sentence: str) -> None:
    verdict = judge(BUILT, text)
    assert not verdict.ok
    assert not verdict.known
    assert verdict.sentence == sentence


def test_of_a_long_line_the_part_that_differs_is_shown() -> None:
    built = library.build(library.load("characters"), HERON)
    text = "\r" + expected_text(built).replace("M", "", 1) + "\r="
    assert judge(built, text).sentence == (
        'line 1 from character 38 on reads "EFGHIJKLNOPQRSTUVWXYZ[\\]^_ !"#$%&\'()*+,-./0123456789:;<=>..."; '
        'expected: "EFGHIJKLMNOPQRSTUVWXYZ[\\]^_ !"#$%&\'()*+,-./0123456789:;<=..."'
    )


def expected_text(built: Built) -> str:
    return "".join(expected_screen(built))


def test_the_screen_to_expect_is_broken_where_the_screen_breaks() -> None:
    assert expected_screen(BUILT) == ("READY 41", "OK")
    rows = expected_screen(library.build(library.load("characters"), HERON))
    assert len(rows) == 24
    assert {len(row) for row in rows} == {40}
    assert expected_screen(library.build(library.load("fill"), HERON)) == ("",)


def test_text_repeated_on_end_is_counted() -> None:
    built = library.build(library.load("characters"), HERON, parameters={"turns": 2})
    (whole,) = ("".join(expected_screen(built)),)
    assert len(whole) == 128
    assert judge(built, "\r" + whole + "\r=").ok
    assert not judge(built, "\r" + whole[:-1] + "\r=").ok
    assert not judge(built, "\r" + whole + whole[:64] + "\r=").ok


@given(st.text(alphabet="READY 41OKE\r\n=", max_size=40))
def test_any_text_gets_a_verdict(text: str) -> None:
    verdict = judge(BUILT, text)
    assert verdict.sentence
    assert not (verdict.ok and "READY 41" not in text)
