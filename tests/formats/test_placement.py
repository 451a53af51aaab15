from __future__ import annotations

import pytest
from hypothesis import given

from formats.errors import FormatError
from formats.image import Image
from formats.placement import Placement
from tests.formats.images import images


@given(images)
def test_what_is_placed_is_the_image(image: Image):
    placement = Placement("a.hex")
    assert placement.empty()
    for record, segment in enumerate(reversed(image.segments), 1):
        placement.put(segment.first, segment.data, record)
    assert not placement.empty()
    assert placement.image(image.start) == image
    assert placement.warnings() == ()


def test_the_same_value_again_is_a_warning_naming_both_records():
    placement = Placement("a.hex")
    placement.put(0x300, b"\x01\x02\x03", 4)
    placement.put(0x302, b"\x03\x04", 9)
    assert placement.image() == Image.from_bytes(0x300, b"\x01\x02\x03\x04")
    assert placement.warnings() == ("a.hex, line 9: 0302 is given again, with the same value as at line 4",)


def test_another_value_is_an_error_naming_both_records():
    placement = Placement("a.hex", lambda record: f"record {record}")
    placement.put(0x300, b"\x01\x02\x03", 4)
    with pytest.raises(FormatError) as caught:
        placement.put(0x2FE, b"\x00\x00\x01\x07", 9)
    assert str(caught.value) == (
        "a.hex, record 9: 0301 is 07 here and 02 at record 4; expected one value for each address"
    )
    assert placement.image() == Image.from_bytes(0x300, b"\x01\x02\x03")


@pytest.mark.parametrize("first, data", [(0xFFFF, b"\x00\x00"), (0x10000, b"\x00"), (-1, b"\x00\x00")])
def test_an_address_outside_memory_is_an_error(first: int, data: bytes):
    with pytest.raises(FormatError, match="expected addresses within 0000-FFFF"):
        Placement("a.hex").put(first, data, 1)


def test_no_bytes_place_nothing_wherever_they_are():
    placement = Placement("a.hex")
    placement.put(0x20000, b"", 1)
    assert placement.empty()


def test_many_repeats_are_counted_after_the_first_ten():
    placement = Placement("a.hex")
    for record in range(1, 32):
        placement.put(0x300, b"\x01", record)
    warnings = placement.warnings()
    assert len(warnings) == 11
    assert warnings[-1] == "a.hex: 20 more records give bytes again, with the same values"
