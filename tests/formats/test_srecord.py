"""S-records: our policy. What the format is, is checked in tests/outside/test_formats_srecord.py."""

from __future__ import annotations

import time

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from formats import srecord
from formats.errors import FormatError
from formats.image import Image
from tests.formats.images import images

WIDTH = {0: 2, 1: 2, 2: 3, 3: 4, 4: 2, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}


def record(kind: int, address: int, data: bytes = b"") -> str:
    body = bytes([WIDTH[kind] + len(data) + 1]) + address.to_bytes(WIDTH[kind], "big") + data
    return f"S{kind}{body.hex().upper()}{0xFF - sum(body) % 256:02X}"


END = record(9, 0)
A9 = record(1, 0x300, b"\xa9\x00")


def read(*lines: str, end: str = END) -> srecord.Reading:
    return srecord.read("\n".join([*lines, end]), "a.s19")


def refusal(*lines: str, end: str = END) -> str:
    with pytest.raises(FormatError) as caught:
        read(*lines, end=end)
    assert caught.value.source == "a.s19"
    return str(caught.value)


@given(images)
@example(Image.from_bytes(0, bytes(65536), 1))
def test_any_image_comes_back_but_for_a_start_at_0000(image: Image):
    reading = srecord.read(srecord.write(image), "a.s19")
    assert reading.image == Image(image.segments, image.start or None)
    assert reading.warnings == ()


def test_a_file_is_written_in_sixteens_with_header_count_and_start():
    assert srecord.write(Image.from_bytes(0x2FE, bytes(20), 0x300)).splitlines() == [
        record(0, 0),
        record(1, 0x2FE, bytes(16)),
        record(1, 0x30E, bytes(4)),
        record(5, 2),
        record(9, 0x300),
    ]


def test_an_empty_image_is_refused():
    with pytest.raises(FormatError, match="the image is empty"):
        srecord.write(Image())


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", " \r\n  \r\n"])
def test_line_ends_blanks_and_case_do_not_matter(end: str):
    text = f" {A9.lower()}\t{end}{END}{end}"
    assert srecord.read(text.encode(), "a.s19").image == Image.from_bytes(0x300, b"\xa9\x00")


@pytest.mark.parametrize("kind", [1, 2, 3])
def test_every_width_of_address_is_taken_within_memory(kind: int):
    assert read(record(kind, 0xFFFF, b"\x01")).image == Image.from_bytes(0xFFFF, b"\x01")
    assert "line 1: it places bytes at FFFF-10000; expected addresses within" in refusal(
        record(kind, 0xFFFF, b"\x01\x02")
    )
    if kind > 1:
        assert "places bytes at 10300-10300" in refusal(record(kind, 0x10300, b"\x01"))


def test_a_missing_end_record_is_a_warning():
    assert read(end=A9).warnings == ("a.s19: no end record (S7, S8 or S9); the file may be cut short",)


@pytest.mark.parametrize("after", [A9, END, "x"])
def test_anything_after_the_end_record_is_an_error(after: str):
    says = refusal(A9, END, end=after)
    assert "line 3" in says and "after the end record at line 2" in says


def test_the_same_byte_again_is_a_warning_and_another_value_an_error():
    assert read(A9, record(1, 0x301, b"\x00")).warnings == (
        "a.s19, line 2: 0301 is given again, with the same value as at line 1",
    )
    assert refusal(A9, record(2, 0x301, b"\x07")) == (
        "a.s19, line 2: 0301 is 07 here and 00 at line 1; expected one value for each address"
    )


@pytest.mark.parametrize("kind", [5, 6])
def test_the_count_must_agree(kind: int):
    assert read(A9, record(kind, 1)).warnings == ()
    assert "line 2: a count of 2 data records; expected 1, as many as came before" in refusal(
        A9, record(kind, 2)
    )


@pytest.mark.parametrize("kind", [7, 8, 9])
def test_the_end_record_gives_the_start_unless_it_is_0000(kind: int):
    assert read(A9, end=record(kind, 0x300)).image.start == 0x300
    assert read(A9, end=record(kind, 0)).image.start is None


def test_a_start_outside_memory_is_left_out_with_a_warning():
    reading = read(A9, end=record(7, 0x12345678))
    assert reading.image.start is None
    assert reading.warnings == (
        "a.s19, line 2: the start address 12345678 lies outside 0000-FFFF and is left out",
    )


@pytest.mark.parametrize(
    "line, says",
    [
        ("; a comment", "line 1: '; a comment'; expected a record: S, a digit"),
        (":00000001FF", "':00000001FF'; expected a record"),
        ("SX03", "'SX03'; expected a record"),
        ("S", "'S'; expected a record"),
        ("S1", "0 hex digits after S1"),
        (A9[:-1], "11 hex digits after S1"),
        (A9[:-1] + "Z", "line 1, column 14: 'Z', not a hex digit"),
        (A9[:-2] + "00", "line 1: checksum 00; expected 4E for these digits"),
        ("S106" + A9[4:], "5 bytes after the length; expected 6, as it says"),
        ("S10200FD", "a length of 2; expected at least 3 for S1"),
        (record(4, 0), "record type S4; expected S0 to S3 or S5 to S9"),
        (record(5, 0, b"\x01"), "1 data bytes in S5; expected none"),
        (record(9, 0, b"\x01"), "1 data bytes in S9; expected none"),
    ],
)
def test_a_wrong_record_is_refused_with_its_place(line: str, says: str):
    assert says in refusal(line)


@pytest.mark.parametrize("text", ["", END, record(0, 0, b"HDR") + "\n" + END, record(1, 0x300) + "\n" + END])
def test_a_file_without_data_is_refused(text: str):
    with pytest.raises(FormatError):
        srecord.read(text, "a.s19")


@given(images, st.data())
def test_a_changed_file_is_read_or_refused_and_nothing_else(image: Image, data: st.DataObject):
    text = bytearray(srecord.write(image).encode())
    for _ in range(data.draw(st.integers(1, 3))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    try:
        srecord.read(bytes(text), "a.s19")
    except FormatError as error:
        assert error.source == "a.s19"


@given(images, st.data())
def test_one_changed_digit_is_always_noticed(image: Image, data: st.DataObject):
    lines = srecord.write(image).splitlines()
    number = data.draw(st.integers(0, len(lines) - 1))
    at = data.draw(st.integers(2, len(lines[number]) - 1))
    digit = data.draw(st.sampled_from("0123456789ABCDEF").filter(lambda digit: digit != lines[number][at]))
    lines[number] = lines[number][:at] + digit + lines[number][at + 1 :]
    with pytest.raises(FormatError) as caught:
        srecord.read("\n".join(lines), "a.s19")
    assert caught.value.place == f"line {number + 1}"


@given(st.one_of(st.binary(max_size=300), st.text(max_size=100)))
def test_junk_is_refused(junk: bytes | str):
    with pytest.raises(FormatError):
        srecord.read(junk, "a.s19")


def test_many_short_records_are_read_in_linear_time():
    """32,768 records of one byte: well under a second; half as many take about half as long."""
    text = "\n".join([*(record(1, address, b"\x55") for address in range(32768)), END])
    began = time.process_time()
    assert len(srecord.read(text, "a.s19").image) == 32768
    assert time.process_time() - began < 1.0


def test_the_image_with_the_most_records_still_fits_the_count_of_s5():
    text = srecord.write(Image.from_cells((address, 0) for address in range(0, 65536, 2)))
    assert text.splitlines()[-2] == record(5, 32768)


def test_what_it_looks_like():
    assert srecord.looks_like(A9) and srecord.looks_like(END.lower())
    assert not srecord.looks_like("SEC") and not srecord.looks_like("STA $10")
