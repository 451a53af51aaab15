from __future__ import annotations

import pytest

from formats.source_places import SourcePlaces, plain


@pytest.fixture
def places() -> SourcePlaces:
    places = SourcePlaces("main.s")
    assert places.add("main.s", ["one", " two ", "three"]) == 1
    assert places.add("folder/table.s", ["four", "five"]) == 4
    return places


def test_a_place_is_a_line_with_its_file_where_that_is_another(places: SourcePlaces):
    assert [places.words(place) for place in ("0", "2", "5")] == [
        "the whole source", "line 2", "line 2 of folder/table.s"
    ]  # fmt: skip
    assert places.words("4->2") == "line 2, in the macro used at line 1 of folder/table.s"
    assert places.where("3") == "main.s, line 3"
    assert (places.file("3"), places.file("3->5"), len(places)) == ("main.s", "folder/table.s", 6)


def test_an_error_names_the_file_it_is_in_and_shows_the_line(places: SourcePlaces):
    assert str(places.error("2", "wrong", "Do it right")) == "main.s, line 2: 'two': wrong. Do it right"
    assert str(places.error("5", "wrong")) == "folder/table.s, line 2: 'five': wrong"
    assert str(places.error("1->4", "wrong")) == (
        "folder/table.s, line 1, in the macro used at line 1 of main.s: 'four': wrong"
    )
    assert str(places.error("0", "wrong")) == "main.s, the whole source: wrong"


def test_token_names_become_words():
    assert plain('Expected: "EOL", ","') == "expected the end of the line or ','"
    assert plain("Expected: expression") == "expected a value"
    assert plain("Unknown label 'a'") == "Unknown label 'a'"


def test_a_long_message_is_cut_in_the_middle():
    assert plain("Word constant " + "1 + " * 1000 + "1 out of range").endswith("1 + 1 out of range")
    assert len(plain("x" * 10_000)) < 200
