"""Tables of a TOML file: every kind of value, and the sentence for what will not do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from formats.image import Range
from linktool.errors import ProfileError, UsageError
from linktool.toml_table import Table, parse_address, shown, text_of


def table(**values: object) -> Table:
    return Table(values, "own.toml", "part", UsageError)


def test_each_kind_of_value() -> None:
    held = table(
        text="a", texts=["a", "b"], number=1.5, whole=3, yes=True, address="$0280", first="1", last="0x2"
    )
    assert held.text("text") == "a"
    assert held.texts("texts") == ("a", "b")
    assert held.number("number", 0, 0, 2) == 1.5
    assert held.whole("whole", 0, 0, 3) == 3
    assert held.yes("yes", False) is True
    assert held.address("address") == 0x0280
    assert held.range() == Range(1, 2)
    held.close()


def test_defaults_stand_in() -> None:
    held = table()
    assert (held.text("a", "x"), held.texts("b", []), held.whole("c", 7, 0, 9)) == ("x", (), 7)
    assert held.table("d", "d").data == {}
    assert held.tables("e") == []


WRONG: list[tuple[dict[str, object], Callable[[Table], object], str]] = [
    ({}, lambda t: t.text("a"), "a is missing, and it is needed"),
    ({"a": 1}, lambda t: t.text("a"), "a is 1; allowed: text in quotes"),
    ({"a": "c"}, lambda t: t.text("a", allowed=("x", "y")), "a is 'c'; allowed: x, y"),
    ({"a": ["b", 1]}, lambda t: t.texts("a"), "a is ['b', 1]; allowed: a list of texts in quotes"),
    ({"a": True}, lambda t: t.number("a", 0, 0, 2), "a is true; allowed: a number from 0 to 2"),
    ({"a": 3}, lambda t: t.number("a", 0, 0, 2), "a is 3; allowed: a number from 0 to 2"),
    ({"a": 1.5}, lambda t: t.whole("a", 0, 0, 2), "a is 1.5; allowed: a whole number from 0 to 2"),
    ({"a": 1}, lambda t: t.yes("a", False), "a is 1; allowed: true or false"),
    ({"a": "10000"}, lambda t: t.address("a"), "a is '10000'; allowed: a hexadecimal address"),
    ({"first": "2", "last": "1"}, lambda t: t.range(), "last is 0001, below first; allowed: 0002 to FFFF"),
    ({"a": 1}, lambda t: t.table("a", "a"), "[a] is 1; allowed: a table of keys and values"),
    ({"a": 1}, lambda t: t.tables("a"), "a is 1; allowed: [[a]] tables"),
    ({"a": [1]}, lambda t: t.tables("a"), "[a 1] is 1; allowed: a table"),
]


@pytest.mark.parametrize(("values", "ask", "message"), WRONG)
def test_what_will_not_do(values: dict[str, object], ask: Callable[[Table], object], message: str) -> None:
    with pytest.raises(UsageError) as caught:
        ask(table(**values))
    assert caught.value.message.startswith("own.toml: [")
    assert message in caught.value.message


def test_keys_nobody_asked_for() -> None:
    held = table(a="x", colour="red")
    held.text("a")
    with pytest.raises(UsageError, match=r"own\.toml: \[part\] colour is not known; allowed: a"):
        held.close()


def test_what_is_no_text_is_told_without_the_words_of_python(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"name\xff")
    with pytest.raises(ProfileError, match=r"mine\.toml: is not plain text: byte 5 is no UTF-8"):
        text_of(path, ProfileError)


def test_the_error_is_the_caller_s_kind() -> None:
    with pytest.raises(ProfileError):
        Table({}, "own.toml", "part", ProfileError).text("a")


@pytest.mark.parametrize(
    ("text", "value"), [("0280", 0x280), ("$ff", 0xFF), ("0xFFFF", 0xFFFF), ("10000", None)]
)
def test_addresses(text: str, value: int | None) -> None:
    assert parse_address(text) == value


def test_long_values_are_shown_short() -> None:
    assert len(shown("x" * 100)) == 60
