from __future__ import annotations

import pytest
from hypothesis import given

from formats import binary
from formats.errors import FormatError
from formats.image import Image
from tests.formats.images import images

GAPPED = Image.from_runs([(0x300, b"\x01\x02"), (0x305, b"\x03")])


def test_raw_bytes_stand_where_they_are_told():
    reading = binary.read(b"\xa9\x00", "a.bin", 0x300)
    assert reading.image == Image.from_bytes(0x300, b"\xa9\x00")
    assert reading.origin == 0x300 and reading.warnings == ()


def test_raw_bytes_need_an_address_and_the_error_says_how_to_give_it():
    with pytest.raises(FormatError, match=r"a\.bin: raw binary carries no address.*--at 0280"):
        binary.read(b"\xa9", "a.bin", None)


@pytest.mark.parametrize(
    "data, at, says",
    [
        (b"", 0x300, "the file is empty"),
        (b"\x00\x00", 0xFFFF, "2 bytes at FFFF; expected at most 1, up to FFFF"),
        (bytes(65537), 0, "65537 bytes at 0000; expected at most 65536"),
        (b"\x00", 0x10000, "load address 10000; expected an address within 0000-FFFF"),
        (b"\x00", -1, "load address -1"),
    ],
)
def test_bytes_that_do_not_fit_are_refused(data: bytes, at: int, says: str):
    with pytest.raises(FormatError) as caught:
        binary.read(data, "a.bin", at)
    assert says in str(caught.value)


def test_the_whole_of_memory_fits():
    assert len(binary.read(bytes(65536), "a.bin", 0).image) == 65536


def test_the_load_address_comes_low_byte_first():
    assert binary.read_with_address(b"\x80\x02\xa9\x00", "a").image == Image.from_bytes(0x280, b"\xa9\x00")
    assert binary.write_with_address(Image.from_bytes(0x280, b"\xa9\x00")) == b"\x80\x02\xa9\x00"


@pytest.mark.parametrize("data", [b"", b"\x80", b"\x80\x02", b"\xff\xff\x01\x02"])
def test_a_load_address_without_room_or_bytes_is_refused(data: bytes):
    with pytest.raises(FormatError):
        binary.read_with_address(data, "a")


def test_a_gap_is_refused_with_its_place_unless_a_fill_byte_is_given():
    with pytest.raises(FormatError, match="addresses 0302-0304: the image has a gap there"):
        binary.write(GAPPED)
    with pytest.raises(FormatError, match="addresses 0302-0304"):
        binary.write_with_address(GAPPED)
    assert binary.write(GAPPED, fill=0xEA) == b"\x01\x02\xea\xea\xea\x03"
    assert binary.write_with_address(GAPPED, fill=0) == b"\x00\x03\x01\x02\x00\x00\x00\x03"


def test_an_empty_image_is_refused():
    for write in (binary.write, binary.write_with_address):
        with pytest.raises(FormatError, match="the image is empty"):
            write(Image())


@given(images)
def test_each_segment_comes_back(image: Image):
    for segment in image.segments:
        alone = Image((segment,))
        assert binary.read(binary.write(alone), "a", segment.first).image == alone
        if len(alone) <= 65534:
            assert binary.read_with_address(binary.write_with_address(alone), "a").image == alone
