"""Intel HEX against published records and against three other readers.

Specification: Intel, Hexadecimal Object File Format Specification, Revision A, January 6, 1988.
"""

from __future__ import annotations

import subprocess
from io import StringIO

import bincopy
import intelhex
import intelhex.test as intelhex_test
import pytest

from formats import intel_hex
from formats.errors import FormatError
from formats.image import Image
from tests.outside.formats_references import (
    DATA,
    EACH_IMAGE,
    by_bincopy,
    by_intelhex,
    by_srec_cat,
    needs_srec_cat,
    srec_cat,
)

END = ":00000001FF"

WORKED = [
    # srec_intel(5), EXAMPLE
    (":0D00000048656C6C6F2C20576F726C640AA1", 0x0000, b"Hello, World\n"),
    # The C Users Journal, disk 7.04, V7N4028A.TXT, the annotated record
    (":04FEDC00210080CFB2", 0xFEDC, bytes.fromhex("210080CF")),
    # Keil, OH51 User's Guide, page "Data Record"
    (":10246200464C5549442050524F46494C4500464C33", 0x2462, b"FLUID PROFILE\x00FL"),
    # DTS Insight, support article 10011758803343
    (":1001000055AA55AA55AA55AA55AA55AA55AA55AAF7", 0x0100, b"\x55\xaa" * 8),
]


@pytest.mark.parametrize("line, first, data", WORKED)
def test_published_records(line: str, first: int, data: bytes):
    reading = intel_hex.read(f"{line}\n{END}\n", "published")
    assert reading.image == Image.from_bytes(first, data) and reading.warnings == ()
    assert intel_hex.write(Image.from_bytes(first, data)).splitlines() == [line, END]


@pytest.mark.parametrize(
    "line, start",
    [
        # intelhex 2.3.0, intelhex/test.py, hex_rectype3 and hex_rectype5
        (intelhex_test.hex_rectype3.splitlines()[0], 0x12340 + 0x5678),
        (intelhex_test.hex_rectype5.splitlines()[0], 0x12345678),
        # from memory, from an encyclopedia page; the sums are right
        (":0400000300003800C1", 0x3800),
        (":04000005000000CD2A", 0x00CD),
    ],
)
def test_published_start_addresses(line: str, start: int):
    reading = intel_hex.read("\n".join([WORKED[0][0], line, END]), "published")
    if start <= 0xFFFF:
        assert reading.image.start == start and reading.warnings == ()
    else:
        assert reading.image.start is None and f"{start:X} lies outside" in reading.warnings[0]


@pytest.mark.parametrize(
    "base, address",
    [
        (":020000040000FA", 0x0000),  # intelhex 2.3.0, intelhex/test.py
        (":02000004CAFE32", 0xCAFE0000),  # DTS Insight, support article 10011758803343
        (":020000021000EC", 0x10000),  # from memory, from an encyclopedia page; the sum is right
        (":020000021200EA", 0x12000),  # the same
        (":020000040800F2", 0x08000000),  # the same
    ],
)
def test_published_bases(base: str, address: int):
    text = "\n".join([base, ":0100000055AA", END])
    assert by_intelhex(text) == {address: 0x55}
    if address <= 0xFFFF:
        assert dict(intel_hex.read(text, "published").image.cells()) == {address: 0x55}
    else:
        with pytest.raises(FormatError, match=f"line 2: it places bytes at {address:04X}-"):
            intel_hex.read(text, "published")


@pytest.mark.parametrize("name", ["8", "16"])
def test_the_files_of_intelhexs_own_tests(name: str):
    text, data = getattr(intelhex_test, f"hex{name}"), getattr(intelhex_test, f"bin{name}")
    image = intel_hex.read(text, "intelhex test").image
    assert dict(image.cells()) == by_intelhex(text)
    held = bytes(byte for _, byte in image.cells())
    assert data.tobytes()[: len(held)] == held
    assert set(data.tobytes()[len(held) :]) <= {0x3F, 0xFF}  # its 16-bit reader fills up with 3FFF


def test_the_file_of_intelhexs_own_tests_that_leaves_memory():
    assert max(by_intelhex(intelhex_test.hex64k)) > 0xFFFF
    with pytest.raises(FormatError, match="expected addresses within 0000-FFFF"):
        intel_hex.read(intelhex_test.hex64k, "intelhex test")


def test_the_text_is_about_two_and_a_third_times_the_bytes():
    """srec_intel(5), "Size Multiplier": 2.3 with 32 bytes a record. Ours has 16: (11 + 32 + 1)/16 = 2.75."""
    data = bytes(range(256)) * 16
    assert len(intel_hex.write(Image.from_bytes(0, data))) / len(data) == pytest.approx(2.75, abs=0.01)


@pytest.mark.parametrize(
    "text, accepted",
    [
        (":0100000055AA", True),  # no end record: all three load it
        (":0100000055AA\n:00000001FF\n", True),
        (":0100000055aa\n:00000001ff", True),
        (":0100000055AB\n:00000001FF", False),  # the checksum: all three refuse
        (":0100000055AA\n:0100000056A9\n:00000001FF", False),  # two values: all three refuse
    ],
)
@needs_srec_cat
def test_where_the_three_readers_agree_so_do_we(text: str, accepted: bool):
    refusals = (intelhex.IntelHexError, bincopy.Error, subprocess.CalledProcessError)
    for read in (by_intelhex, by_bincopy, lambda text: by_srec_cat(text.encode(), "-intel")):
        if accepted:
            assert read(text) == {0: 0x55}
        else:
            with pytest.raises(refusals):
                read(text)
    if accepted:
        assert dict(intel_hex.read(text, "a.hex").image.cells()) == {0: 0x55}
    else:
        with pytest.raises(FormatError):
            intel_hex.read(text, "a.hex")


@needs_srec_cat
def test_an_offset_wraps_in_its_segment_as_the_specification_and_srec_cat_say():
    """Specification, record type 02: SBA + ((offset + index) mod 64K). intelhex and bincopy do not wrap."""
    text = ":020000020000FC\n:02FFFF000102FD\n:00000001FF\n"
    ours = dict(intel_hex.read(text, "a.hex").image.cells())
    assert ours == {0xFFFF: 0x01, 0x0000: 0x02} == by_srec_cat(text.encode(), "-intel")
    assert by_intelhex(text) == by_bincopy(text) == {0xFFFF: 0x01, 0x10000: 0x02}


def test_without_a_segment_an_offset_leaves_memory_and_is_refused():
    text = ":02FFFF000102FD\n:00000001FF\n"
    assert by_intelhex(text) == by_bincopy(text) == {0xFFFF: 0x01, 0x10000: 0x02}
    with pytest.raises(FormatError, match="FFFF-10000"):
        intel_hex.read(text, "a.hex")


@EACH_IMAGE
def test_others_read_what_we_write(image: Image):
    text = intel_hex.write(image)
    assert by_intelhex(text) == by_bincopy(text) == dict(image.cells())
    start = intelhex.IntelHex(StringIO(text)).start_addr
    assert start == (None if image.start is None else {"EIP": image.start})


@EACH_IMAGE
@needs_srec_cat
def test_srec_cat_reads_what_we_write_and_we_what_it_writes(image: Image):
    text = intel_hex.write(image).encode()
    assert by_srec_cat(text, "-intel") == dict(image.cells())
    again = intel_hex.read(srec_cat(text, "-intel", "-intel"), "srec_cat")
    assert again.image == image and again.warnings == ()


@EACH_IMAGE
def test_we_read_what_bincopy_writes(image: Image):
    theirs = bincopy.BinFile()
    for segment in image.segments:
        theirs.add_binary(segment.data, segment.first)
    theirs.execution_start_address = image.start
    assert intel_hex.read(theirs.as_ihex(), "bincopy").image == image


FILES = ["convert.hex", "fill.hex", "in.hex", "in_blank_lines.hex", "out.hex"]


@pytest.mark.parametrize("name", FILES)
def test_bincopys_test_files(name: str):
    content = (DATA / "bincopy" / name).read_bytes()
    image = intel_hex.read(content, name).image
    assert dict(image.cells()) == by_bincopy(content.decode()) == by_intelhex(content.decode())


def test_bincopys_test_file_agrees_with_its_binary_twin():
    image = intel_hex.read((DATA / "bincopy" / "convert.hex").read_bytes(), "convert.hex").image
    assert image == Image.from_bytes(0x100, (DATA / "bincopy" / "convert.bin").read_bytes())


@pytest.mark.parametrize("name", ["empty_main.hex", "issue_4_in.hex"])
def test_bincopys_test_files_beyond_64_kib_are_refused(name: str):
    content = (DATA / "bincopy" / name).read_bytes()
    assert max(by_bincopy(content.decode())) > 0xFFFF
    with pytest.raises(
        FormatError, match=r"line 2: it places bytes at .* expected addresses within 0000-FFFF"
    ):
        intel_hex.read(content, name)


@needs_srec_cat
@EACH_IMAGE
def test_a_file_with_one_wrong_digit_is_refused_by_all(image: Image):
    lines = intel_hex.write(image).splitlines()
    wrong = lines[1][:9] + ("0" if lines[1][9] != "0" else "1") + lines[1][10:]
    text = "\n".join([lines[0], wrong, *lines[2:]])
    with pytest.raises(intelhex.IntelHexError):
        by_intelhex(text)
    with pytest.raises(subprocess.CalledProcessError):
        by_srec_cat(text.encode(), "-intel")
    with pytest.raises(FormatError):
        intel_hex.read(text, "a.hex")
