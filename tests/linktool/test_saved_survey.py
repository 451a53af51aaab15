"""Surveys in files: before and after."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linktool.errors import UsageError
from linktool.page_states import Page
from linktool.saved_survey import Saved, changed, parse, to_text

SAVED = Saved(
    "heron",
    datetime(2026, 11, 25, 19, 0, tzinfo=UTC),
    (Page(0x00, "ram"), Page(0x20, "mirror", of=0x10), Page(0xFF, "rom")),
)


def test_what_is_saved_is_read_back():
    assert parse(to_text(SAVED).encode(), "before.json") == SAVED


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{}",
        "[]",
        to_text(SAVED).replace("linktool survey", "shopping list"),
        to_text(SAVED).replace('"mirror"', '"gone"'),
        to_text(SAVED).replace('"20"', '"120"'),
        to_text(SAVED).replace("2026-11-25", "November"),
    ],
)
def test_anything_else_is_refused_by_name(text):
    with pytest.raises(UsageError, match=r"before\.json: is no saved survey"):
        parse(text.encode(), "before.json")


@given(st.binary(max_size=200))
def test_junk_is_an_error_of_our_own(data):
    with pytest.raises(UsageError):
        parse(data, "x")


def test_a_very_large_file_is_refused():
    with pytest.raises(UsageError, match="larger"):
        parse(b" " * (1 << 21), "x")


def test_what_changed_between_two():
    now = [Page(0x00, "ram"), Page(0x20, "ram"), Page(0x30, "ram"), Page(0xFF, "rom")]
    assert changed(SAVED.pages, now) == ((Page(0x20, "mirror", of=0x10), Page(0x20, "ram")),)
    assert changed(SAVED.pages, [Page(0x20, "mirror", of=0x30)]) != ()
    assert changed(SAVED.pages, SAVED.pages) == ()
