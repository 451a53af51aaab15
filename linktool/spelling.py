"""The known word that a mistyped one is nearest to. Loads what it needs only when something was mistyped."""

from __future__ import annotations

from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str:
    """The nearest of `known`; "" where none is near."""
    import difflib

    return next(iter(difflib.get_close_matches(word, list(known), 1)), "")


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A question, with a space after it, to put before what can be done; "" where none is near."""
    near = nearest(word, known)
    return f"Did you mean {near}? " if near else ""
