from __future__ import annotations

from formats.errors import FormatError


def test_the_sentence_says_where_what_was_found_what_was_expected_and_what_to_do():
    error = FormatError("a.hex", "line 3", "checksum 22", "25", "Type the line again")
    assert str(error) == "a.hex, line 3: checksum 22; expected 25. Type the line again"
    assert error.sentence() == str(error)


def test_parts_that_are_missing_leave_no_trace():
    assert str(FormatError("a.hex", "", "the file is empty")) == "a.hex: the file is empty"
    assert str(FormatError("", "", "the image is empty")) == "the image is empty"
    assert str(FormatError("", "address 0280", "a gap", "a byte")) == "address 0280: a gap; expected a byte"
