"""Sums of names and hex numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.expression import names_in, value_of


@pytest.mark.parametrize(
    ("text", "value"),
    [("$FF00+low", 0xFF7F), ("low", 0x7F), ("-low", -0x7F), ("$10 - $1", 0xF), ("to+last-first", 0x20FF)],
)
def test_values(text: str, value: int) -> None:
    assert value_of(text, {"low": 0x7F, "to": 0x2000, "first": 0x1000, "last": 0x10FF}) == value


def test_names() -> None:
    assert names_in("$FF00+before-x2") == ("before", "x2")
    assert names_in("$FF00") == ()


@pytest.mark.parametrize("text", ["", "a b", "a+", "+", "a--b", "10", "$", "$12345", "-", "a*b", "A", "a+$G"])
def test_what_is_no_expression(text: str) -> None:
    with pytest.raises(ValueError, match="'"):
        names_in(text)


def test_a_name_without_a_value() -> None:
    with pytest.raises(KeyError):
        value_of("a", {})


@given(st.lists(st.tuples(st.sampled_from("+-"), st.integers(0, 0xFFFF)), min_size=1, max_size=8))
def test_a_sum_is_a_sum(terms: list[tuple[str, int]]) -> None:
    text = "".join(f"{sign}${value:X}" for sign, value in terms)
    assert value_of(text, {}) == sum(value if sign == "+" else -value for sign, value in terms)
