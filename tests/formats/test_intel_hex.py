"""Intel HEX: our policy. What the format is, is checked in tests/outside/test_formats_intel_hex.py."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formats import intel_hex
from formats.errors import FormatError
from formats.image import Image
from tests.formats.images import images

END = ":00000001FF"


def record(kind: int, offset: int, data: bytes) -> str:
    body = bytes([len(data), offset >> 8, offset & 0xFF, kind]) + data
    return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}"


def read(*lines: str, end: str = END) -> intel_hex.Reading:
    return intel_hex.read("\n".join([*lines, end]), "a.hex")


def refusal(*lines: str, end: str = END) -> str:
    with pytest.raises(FormatError) as caught:
        read(*lines, end=end)
    assert caught.value.source == "a.hex"
    return str(caught.value)


A9 = record(0, 0x300, b"\xa9\x00")


@given(images)
@example(Image.from_bytes(0, bytes(65536), 0))
@example(Image.from_cells((address, address & 0xFF) for address in range(0, 300, 2)))
def test_any_image_comes_back(image: Image):
    reading = intel_hex.read(intel_hex.write(image), "a.hex")
    assert reading.image == image and reading.warnings == ()


def test_a_file_is_written_in_sixteens_with_the_start_address_first():
    text = intel_hex.write(Image.from_bytes(0x2FE, bytes(20), 0x300))
    assert text.splitlines() == [
        record(5, 0, b"\x00\x00\x03\x00"),
        record(0, 0x2FE, bytes(16)),
        record(0, 0x30E, bytes(4)),
        END,
    ]


def test_an_empty_image_is_refused():
    with pytest.raises(FormatError, match="the image is empty"):
        intel_hex.write(Image())


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\n\n", " \r\n  "])
def test_line_ends_blanks_and_case_do_not_matter(end: str):
    text = f" {A9.lower()}\t{end}{END}{end}"
    assert intel_hex.read(text.encode(), "a.hex").image == Image.from_bytes(0x300, b"\xa9\x00")


def test_a_missing_end_record_is_a_warning():
    assert read(end=A9).warnings == ("a.hex: no end record (:00000001FF); the file may be cut short",)


@pytest.mark.parametrize("after", [A9, END, "; done", "x"])
def test_anything_after_the_end_record_is_an_error(after: str):
    says = refusal(A9, END, end=after)
    assert "line 3" in says and "after the end record at line 2" in says


def test_the_same_byte_again_is_a_warning_and_another_value_an_error():
    same = record(0, 0x301, b"\x00\x01")
    assert read(A9, same).warnings == (
        "a.hex, line 2: 0301 is given again, with the same value as at line 1",
    )
    assert refusal(A9, record(0, 0x301, b"\x07")) == (
        "a.hex, line 2: 0301 is 07 here and 00 at line 1; expected one value for each address"
    )


@pytest.mark.parametrize(
    "line, says",
    [
        ("; a comment", "line 1: a comment, '; a comment'"),
        ("# a comment", "Intel HEX has none: take it out"),
        ("S1130000", "which has no colon first"),
        ("0203000000A9", "which has no colon first"),
        (A9[:-1], "line 1: 13 hex digits after the colon; expected a record"),
        (":00", "2 hex digits after the colon"),
        (":", "0 hex digits after the colon"),
        (A9[:-1] + "G", "line 1, column 15: 'G', not a hex digit"),
        (A9[:5] + " " + A9[5:], "line 1, column 6: ' ', not a hex digit"),
        (A9[:-2] + "00", "line 1: checksum 00; expected 52 for these digits"),
        (":03" + A9[3:], "line 1: 2 data bytes; expected 3, as the record's length says"),
        (record(6, 0, b""), "record type 06; expected a type from 00 to 05"),
        (record(1, 0, b"\x00"), "a record of type 01 with length 01 and address 0000; expected length 00"),
        (record(2, 0, b"\x00"), "a record of type 02 with length 01 and address 0000; expected length 02"),
        (
            record(4, 1, b"\x00\x00"),
            "type 04 with length 02 and address 0001; expected length 02 and address 0000",
        ),
        (record(3, 0, b"\x00"), "type 03 with length 01"),
        (record(5, 4, bytes(4)), "type 05 with length 04 and address 0004"),
        (record(0, 0xFFFF, b"\x00\x00"), "line 1: it places bytes at FFFF-10000; expected addresses within"),
    ],
)
def test_a_wrong_record_is_refused_with_its_place(line: str, says: str):
    assert says in refusal(line)


@pytest.mark.parametrize("text", ["", END, "\n\n" + END, record(0, 0x300, b"") + "\n" + END])
def test_a_file_without_data_is_refused(text: str):
    with pytest.raises(FormatError):
        intel_hex.read(text, "a.hex")


def test_an_offset_wraps_inside_its_segment():
    reading = read(record(2, 0, b"\x00\x00"), record(0, 0xFFFF, b"\x01\x02"))
    assert dict(reading.image.cells()) == {0xFFFF: 1, 0x0000: 2}


def test_a_segment_base_is_added_and_may_leave_memory():
    reading = read(record(2, 0, b"\x0f\x00"), record(0, 0x0010, b"\x01"))
    assert reading.image == Image.from_bytes(0xF010, b"\x01")
    assert "places bytes at 10000-10000" in refusal(record(2, 0, b"\x0f\x00"), record(0, 0x1000, b"\x01"))


def test_a_linear_base_does_not_wrap_and_replaces_a_segment():
    assert "FFFF-10000" in refusal(
        record(2, 0, b"\x00\x00"), record(4, 0, b"\x00\x00"), record(0, 0xFFFF, b"\x01\x02")
    )
    assert "10000-10000" in refusal(record(4, 0, b"\x00\x01"), record(0, 0, b"\x01"))


def test_start_addresses():
    assert read(A9, record(5, 0, b"\x00\x00\x03\x00")).image.start == 0x300
    assert read(A9, record(3, 0, b"\x00\x20\x01\x00")).image.start == 0x300
    assert read(A9, record(5, 0, bytes(4))).image.start == 0
    outside = read(A9, record(5, 0, b"\x12\x34\x56\x78"))
    assert outside.image.start is None
    assert outside.warnings == (
        "a.hex, line 2: the start address 12345678 lies outside 0000-FFFF and is left out",
    )


def test_two_start_addresses():
    first, same, other = (record(5, 0, bytes([0, 0, 3, low])) for low in (0, 0, 1))
    assert read(A9, first, same).warnings == (
        "a.hex, line 3: the start address is given again, with the same value as at line 2",
    )
    assert "line 3: start address 0301, and 0300 at line 2" in refusal(A9, first, other)


def test_an_end_record_with_an_address_gives_the_start_of_older_tools():
    reading = read(A9, end=record(1, 0x300, b""))
    assert reading.image.start == 0x300
    assert reading.warnings == ("a.hex, line 2: the end record names 0300; taken as start address",)
    both = read(A9, record(5, 0, b"\x00\x00\x04\x00"), end=record(1, 0x300, b""))
    assert both.image.start == 0x400 and both.warnings == ()


@given(images, st.data())
def test_a_changed_file_is_read_or_refused_and_nothing_else(image: Image, data: st.DataObject):
    text = bytearray(intel_hex.write(image).encode())
    for _ in range(data.draw(st.integers(1, 3))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    try:
        intel_hex.read(bytes(text), "a.hex")
    except FormatError as error:
        assert error.source == "a.hex"


@given(images, st.data())
def test_one_changed_digit_is_always_noticed(image: Image, data: st.DataObject):
    """Any change of one digit breaks the checksum: the sum of the bytes moves by 1 to F or 10 to F0."""
    lines = intel_hex.write(image).splitlines()
    number = data.draw(st.integers(0, len(lines) - 1))
    at = data.draw(st.integers(1, len(lines[number]) - 1))
    digit = data.draw(st.sampled_from("0123456789ABCDEF").filter(lambda digit: digit != lines[number][at]))
    lines[number] = lines[number][:at] + digit + lines[number][at + 1 :]
    with pytest.raises(FormatError) as caught:
        intel_hex.read("\n".join(lines), "a.hex")
    assert caught.value.place == f"line {number + 1}"


@given(st.one_of(st.binary(max_size=300), st.text(max_size=100)))
def test_junk_is_refused(junk: bytes | str):
    with pytest.raises(FormatError):
        intel_hex.read(junk, "a.hex")


def test_what_it_looks_like():
    assert intel_hex.looks_like(A9) and intel_hex.looks_like(END)
    assert not intel_hex.looks_like(":A9 00") and not intel_hex.looks_like("S10603")
