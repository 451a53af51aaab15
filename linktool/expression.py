"""Sums of names and hexadecimal numbers, as program descriptions use them: "$FF00+before", "last-first"."""

from __future__ import annotations

import re
from collections.abc import Mapping

_TERM = re.compile(r"\s*([+-]?)\s*(?:\$([0-9A-Fa-f]{1,4})|([a-z][a-z0-9_]*))\s*")


def _terms(expression: str) -> list[tuple[int, int | str]]:
    at = 0
    terms: list[tuple[int, int | str]] = []
    while at < len(expression) or not terms:
        match = _TERM.match(expression, at)
        if not match or (terms and not match[1]):
            raise ValueError(f"{expression!r}")
        terms.append((-1 if match[1] == "-" else 1, int(match[2], 16) if match[2] else match[3]))
        at = match.end()
    return terms


def names_in(expression: str) -> tuple[str, ...]:
    """The names an expression uses. ValueError where it is none."""
    return tuple(term for _, term in _terms(expression) if isinstance(term, str))


def value_of(expression: str, values: Mapping[str, int]) -> int:
    """Its value, which may lie outside 0..FFFF. KeyError for a name without a value."""
    return sum(sign * (term if isinstance(term, int) else values[term]) for sign, term in _terms(expression))
