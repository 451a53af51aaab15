"""S-records against published records and against two other readers.

Description: M68000 Family Programmer's Reference Manual, Appendix C, "S-Record Output Format".
"""

from __future__ import annotations

import subprocess

import bincopy
import pytest

from formats import srecord
from formats.errors import FormatError
from formats.image import Image
from tests.outside.formats_references import (
    DATA,
    EACH_IMAGE,
    by_bincopy,
    by_srec_cat,
    needs_srec_cat,
    srec_cat,
)

WORKED = [
    # srec_motorola(5), EXAMPLE
    ("S110000048656C6C6F2C20576F726C640A9D", 0x0000, b"Hello, World\n"),
    # The C Users Journal, disk 7.04, V7N4028A.TXT
    ("S107FEDC210080CFAE", 0xFEDC, bytes.fromhex("210080CF")),
    # Introduction to Microcontrollers: Architecture, Programming, and Interfacing of the Motorola 68HC12,
    # figure 5.3, page 122
    (
        "S1160820B60811BB08137A0815B60810B908127A0814004E",
        0x0820,
        bytes.fromhex("B60811BB08137A0815B60810B908127A081400"),
    ),
    # S-record page, sonic.net/~mikebr, s19_records.html: an S2 and an S1 record
    (
        "S21D0100006461746120617420612068696768657220616464726573730034",
        0x10000,
        b"data at a higher address\x00",
    ),
    ("S10D1000736F6D6520646174610074", 0x1000, b"some data\x00"),
]


@pytest.mark.parametrize("line, first, data", WORKED)
def test_published_records(line: str, first: int, data: bytes):
    assert by_bincopy(line) == {first + at: byte for at, byte in enumerate(data)}
    if first > 0xFFFF:
        with pytest.raises(FormatError, match=f"it places bytes at {first:X}-"):
            srecord.read(line, "published")
        return
    assert srecord.read(line, "published").image == Image.from_bytes(first, data)
    if len(data) <= srecord.BYTES_A_RECORD:
        assert line in srecord.write(Image.from_bytes(first, data)).splitlines()


def test_a_published_file():
    """srec_motorola(5), EXAMPLE: header "HDR", one record, its count, the end."""
    lines = ["S00600004844521B", "S110000048656C6C6F2C20576F726C640A9D", "S5030001FB", "S9030000FC"]
    reading = srecord.read("\n".join(lines), "published")
    assert reading.image == Image.from_bytes(0, b"Hello, World\n") and reading.warnings == ()
    assert srecord.write(reading.image).splitlines()[1:] == lines[1:]


def test_lines_are_short_enough_for_a_teletype():
    """Appendix C, table C-1: some programs limit data to 28 bytes, 56 printable characters."""
    text = srecord.write(Image.from_bytes(0, bytes(1000)))
    assert max(len(line) - len("S1LLAAAACC") for line in text.splitlines()) <= 56


def test_the_text_is_about_two_and_three_quarter_times_the_bytes():
    """srec_motorola(5), "Size Multiplier": 2.4 with 32 bytes a record. Ours: (10 + 32 + 1)/16 = 2.69."""
    data = bytes(range(256)) * 16
    assert len(srecord.write(Image.from_bytes(0, data))) / len(data) == pytest.approx(2.69, abs=0.02)


@EACH_IMAGE
def test_bincopy_reads_what_we_write_and_we_what_it_writes(image: Image):
    text = srecord.write(image)
    assert by_bincopy(text) == dict(image.cells())
    theirs = bincopy.BinFile()
    for segment in image.segments:
        theirs.add_binary(segment.data, segment.first)
    theirs.execution_start_address = image.start
    for address_bits in (16, 24, 32):
        again = srecord.read(theirs.as_srec(address_length_bits=address_bits), "bincopy")
        assert again.image == image
        assert (again.warnings == ()) == (image.start is not None)  # it writes no end record without one


@EACH_IMAGE
@needs_srec_cat
def test_srec_cat_reads_what_we_write_and_we_what_it_writes(image: Image):
    text = srecord.write(image).encode()
    assert by_srec_cat(text, "-motorola") == dict(image.cells())
    for options in ((), ("-address-length=3",), ("-address-length=4",), ("-line-length=78",)):
        again = srecord.read(srec_cat(text, "-motorola", "-motorola", *options), "srec_cat").image
        assert again.segments == image.segments
    ended = srec_cat(text, "-motorola", "-motorola", f"-execution-start-address={image.start or 1}")
    assert srecord.read(ended, "srec_cat").image.start == (image.start or 1)


FILES = [
    "convert.s19", "fill_max_words.s19", "in.s19", "in_blank_lines.s19", "in_exclude_2_4.s19", "out.s19",
]  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_bincopys_test_files(name: str):
    content = (DATA / "bincopy" / name).read_bytes()
    assert dict(srecord.read(content, name).image.cells()) == by_bincopy(content.decode())


def test_bincopys_file_with_a_wrong_checksum():
    content = (DATA / "bincopy" / "bad_crc.s19").read_bytes()
    with pytest.raises(bincopy.Error):
        by_bincopy(content.decode())
    with pytest.raises(
        FormatError, match=r"^bad_crc\.s19, line 1: checksum 22; expected 25 for these digits$"
    ):
        srecord.read(content, "bad_crc.s19")


def test_bincopys_test_file_beyond_64_kib_is_refused():
    content = (DATA / "bincopy" / "empty_main.s19").read_bytes()
    assert max(by_bincopy(content.decode())) > 0xFFFF
    with pytest.raises(FormatError, match="line 2: it places bytes at 400238-400247"):
        srecord.read(content, "empty_main.s19")


@EACH_IMAGE
@needs_srec_cat
def test_a_file_with_one_wrong_digit_is_refused_by_all(image: Image):
    lines = srecord.write(image).splitlines()
    wrong = lines[1][:8] + ("0" if lines[1][8] != "0" else "1") + lines[1][9:]
    text = "\n".join([lines[0], wrong, *lines[2:]])
    with pytest.raises(bincopy.Error):
        by_bincopy(text)
    with pytest.raises(subprocess.CalledProcessError):
        by_srec_cat(text.encode(), "-motorola")
    with pytest.raises(FormatError, match="line 2: checksum"):
        srecord.read(text, "a.s19")
