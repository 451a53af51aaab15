"""Arguments parse themselves, and say what is wrong in words."""

from __future__ import annotations

import pytest

from formats.image import Range
from linktool.arguments import Choice, Entrance, File, Known, Number, RangeOf, parse_address, parse_range
from linktool.commands import COMMANDS
from linktool.errors import UsageError


@pytest.mark.parametrize("text", ["0280", "280", "$0280", "0x280", "0X0280", " 280 "])
def test_addresses(text):
    assert parse_address(text) == 0x0280


@pytest.mark.parametrize("text", ["", "28G", "-1", "10000", "0x", "2 80", "$"])
def test_what_is_no_address(text):
    with pytest.raises(UsageError):
        parse_address(text)


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("0280-02FF", 0x0280, 0x02FF),
        ("0280.02ff", 0x0280, 0x02FF),
        ("280+80", 0x0280, 0x02FF),
        ("280+$80", 0x0280, 0x02FF),
        ("$FFFF", 0xFFFF, 0xFFFF),
        ("0-FFFF", 0, 0xFFFF),
        ("FF00+100", 0xFF00, 0xFFFF),
    ],
)
def test_ranges(text, first, last):
    assert parse_range(text) == Range(first, last)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("02FF-0280", "runs backwards. Did you mean 0280-02FF"),
        ("FF00+101", "runs past FFFF. From FF00 at most 100"),
        ("0280+0", "is no length"),
        ("0280-", "is no range"),
        ("0280-xyz", "is no address"),
    ],
)
def test_what_is_no_range_says_why(text, words):
    with pytest.raises(UsageError, match=words.replace("+", r"\+")):
        parse_range(text)


def test_a_program_may_be_started_at_a_symbol_s_name():
    assert Entrance().parse("char_out") == "char_out"
    assert Entrance().parse("fade") == 0xFADE
    assert Entrance().complete("ch", Known(symbols=("char_out", "monitor"))) == ["char_out"]


@pytest.mark.parametrize(
    "command", [each for each in COMMANDS if any(a.name == "--at" for a in each.arguments)]
)
def test_where_a_file_goes_is_an_address_never_a_name(command):
    (at,) = (argument for argument in command.arguments if argument.name == "--at")
    with pytest.raises(UsageError, match="'char_out' is no address"):
        at.kind.parse("char_out")


def test_numbers_and_choices_name_what_is_allowed():
    with pytest.raises(UsageError, match="from 0 to 60"):
        Number("SECONDS", 0, 60).parse("61")
    with pytest.raises(UsageError, match="from 0 to 60"):
        Number("SECONDS", 0, 60).parse("nan")
    with pytest.raises(UsageError, match="not one of dense, screen"):
        Choice(("dense", "screen")).parse("wide")


def test_files_complete_from_the_disk_and_programs_from_the_library(tmp_path):
    (tmp_path / "blink.hex").write_text("")
    (tmp_path / "blocks").mkdir()
    found = File(images=True).complete(f"{tmp_path}/bl", Known(programs=("blank",)))
    assert found == [f"{tmp_path}/blink.hex", f"{tmp_path}/blocks/"]
    assert File(images=True).complete("bla", Known(programs=("blank",)))[0] == "blank"


def test_ranges_complete_from_what_is_in_hand():
    assert RangeOf().complete("02", Known(ranges=("0280-02FF", "0300-03FF"))) == ["0280-02FF"]


def test_limits_are_written_out():
    with pytest.raises(UsageError, match=r"A whole number from 1 to 1,000,000$"):
        Number("COUNT", 1, 1e6, whole=True).parse("0")
    with pytest.raises(UsageError, match=r"A number from 0[.]1 to 3,600$"):
        Number("SECONDS", 0.1, 3600).parse("0")


def test_a_dash_is_no_file():
    with pytest.raises(UsageError, match="Standard input and output are not taken"):
        File().parse("-")
