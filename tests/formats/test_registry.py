from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formats import registry
from formats.errors import FormatError
from formats.image import Image
from tests.formats.images import images

IMAGE = Image.from_bytes(0x300, bytes.fromhex("A9008D10D060"), start=0x302)
WRITTEN = [each for each in registry.FORMATS if each.writer]
CONTENT = {each.name: registry.write(IMAGE, each.name) for each in WRITTEN} | {
    "source": b".org $0300\n rts\n"
}
TEXT = [each.name for each in registry.FORMATS if each.looks_like]


def refusal(data: bytes, source: str, **options: object) -> str:
    with pytest.raises(FormatError) as caught:
        registry.read(data, source, **options)  # type: ignore[arg-type]
    return str(caught.value)


def test_names_and_suffixes_are_told_apart():
    names = [each.name for each in registry.FORMATS]
    suffixes = [suffix for each in registry.FORMATS for suffix in each.suffixes]
    assert len(set(names)) == len(names) and len(set(suffixes)) == len(suffixes)
    assert all(suffix == suffix.lower() and suffix.startswith(".") for suffix in suffixes)


@given(st.sampled_from(WRITTEN), images)
def test_any_image_goes_through_every_format_and_back(each: registry.Format, image: Image):
    if not each.keeps_gaps:
        image = Image(image.segments[:1], image.start)
    lost = registry.not_kept(image, each.name)
    at = image.segments[0].first if each.needs_address else None
    loaded = registry.read(registry.write(image, each.name), "a" + each.suffixes[0], at=at)
    assert loaded.format is each and loaded.warnings == ()
    assert loaded.image == Image(image.segments, None if lost else image.start)
    assert loaded.origin == image.segments[0].first


@pytest.mark.parametrize("name", TEXT)
@pytest.mark.parametrize("path", ["noname", "folder.hex/noname", "a.unknown", "a.txt", "A.TXT"])
def test_content_tells_the_format_where_the_name_does_not(name: str, path: str):
    loaded = registry.read(CONTENT[name], path)
    assert loaded.format.name == name
    assert loaded.image.extent is not None and loaded.image.extent.first == 0x300


@pytest.mark.parametrize("promised", registry.FORMATS, ids=lambda each: each.name)
@pytest.mark.parametrize("seen", TEXT)
def test_a_name_that_does_not_fit_the_content_is_refused(promised: registry.Format, seen: str):
    if promised.name == seen or {promised.name, seen} == {"lines", "dump"} or ".txt" in promised.suffixes:
        return
    title = registry.by_name(seen).title
    says = refusal(CONTENT[seen], "a" + promised.suffixes[0], at=0x300)
    assert f"the name says {promised.title}, the content looks like {title}" in says
    assert f"--format {seen} or {promised.name}" in says
    assert registry.read(CONTENT[seen], "a" + promised.suffixes[0], format=seen).format.name == seen


def test_lines_and_dumps_are_read_by_one_reader():
    assert registry.read(CONTENT["dump"], "a.lines").image == Image(IMAGE.segments)
    assert registry.read(CONTENT["lines"], "a.dump").image == Image(IMAGE.segments)


def test_a_content_that_says_nothing_is_left_to_the_named_reader():
    assert "a.hex, line 1: 'hello', which has no colon first" in refusal(b"hello\n", "a.hex")
    assert "a.s19: the file is empty" in refusal(b"", "a.s19")
    assert "begins with UTF-16 text" in refusal("S10".encode("utf-16"), "a.s19")


def test_bytes_without_a_telling_name_are_refused_unless_an_address_is_given():
    assert refusal(b"\x00\x01", "noname") == (
        "noname: neither its name nor its content tells the format; expected a known suffix or content. "
        "Say what it is with --format: intel-hex, srecord, source, lines, dump, binary, binary-with-address"
    )
    assert registry.read(b"\x00\x01", "noname", at=0x300).image == Image.from_bytes(0x300, b"\x00\x01")
    assert "noname: the file is empty" in refusal(b"", "noname", at=0x300)


def test_raw_binary_needs_an_address():
    assert "--at 0280" in refusal(b"\x00", "a.bin")


@pytest.mark.parametrize("name", ["intel-hex", "srecord", "lines", "dump", "binary-with-address"])
def test_an_address_moves_an_image_that_has_its_own_with_a_warning(name: str):
    loaded = registry.read(CONTENT[name], "a", format=name, at=0x400)
    assert loaded.image.segments == IMAGE.moved(0x400).segments
    assert loaded.image.start in (None, 0x402) and loaded.origin == 0x400
    assert loaded.warnings == (
        "a: moved from 0300 to 0400; the bytes are unchanged, "
        "so code that names its own addresses will not run there",
    )
    assert registry.read(CONTENT[name], "a", format=name, at=0x300).warnings == ()


def test_a_move_out_of_memory_is_refused():
    assert (
        "a.hex: moved to FFFE, the bytes would reach 10003; expected an image that stays within"
        in refusal(CONTENT["intel-hex"], "a.hex", at=0xFFFE)
    )
    assert "a.hex: address 10000; expected an address within 0000-FFFF" in refusal(
        CONTENT["intel-hex"], "a.hex", at=0x10000
    )


def test_a_source_gives_labels_and_takes_symbols_address_and_processor():
    loaded = registry.read(
        b"start: jsr out\n phx\n", "a.s", at=0x300, symbols={"out": 0xFF03}, processor="65C02"
    )
    assert loaded.image == Image.from_bytes(0x300, bytes.fromhex("2003FFDA"), start=0x300)
    assert loaded.labels == {"start": 0x300} and loaded.origin == 0x300
    assert "--at says 0400" in refusal(CONTENT["source"], "a.s", at=0x400)


def test_names_that_are_not_known_are_answered_with_those_that_are():
    with pytest.raises(FormatError, match="format 'hex' is not known; expected one of intel-hex, srecord, "):
        registry.by_name("hex")
    assert "format 'hex' is not known" in refusal(b"", "a", format="hex")


def test_the_format_to_write_comes_from_the_name_given_or_the_suffix():
    assert registry.for_writing("a.HEX").name == "intel-hex"
    assert registry.for_writing("a.hex", "srecord").name == "srecord"
    with pytest.raises(FormatError, match=r"a\.xyz: its suffix names no format.*--to: intel-hex"):
        registry.for_writing("a.xyz")
    with pytest.raises(FormatError, match=r"a\.s: 6502 assembly source can only be read"):
        registry.for_writing("a.s")


def test_what_cannot_be_written_names_the_file():
    gapped = Image.from_runs([(0, b"\x01"), (2, b"\x02")])
    with pytest.raises(FormatError, match=r"^a\.bin, address.* 0001: the image has a gap there"):
        registry.write(gapped, "binary", source="a.bin")
    assert registry.write(gapped, "binary", fill=0xFF) == b"\x01\xff\x02"
    with pytest.raises(FormatError, match="fill byte 100; expected a byte, 00 to FF"):
        registry.write(gapped, "binary", fill=0x100)
    for each in WRITTEN:
        with pytest.raises(FormatError, match=r"^a: the image is empty"):
            registry.write(Image(), each.name, source="a")


def test_what_a_format_does_not_keep_is_said():
    image = Image.from_runs([(0, b"\x01"), (2, b"\x02")], start=0)
    assert registry.not_kept(image, "intel-hex") == ()
    assert registry.not_kept(image, "srecord") == (
        "the start address 0000 is left out: S-record cannot hold it",
    )
    assert registry.not_kept(image, "lines") == (
        "the start address 0000 is left out: address-colon-bytes lines cannot hold it",
    )
    assert registry.not_kept(image, "binary") == (
        "the start address 0000 is left out: raw binary cannot hold it",
        "the image's gaps are filled: raw binary cannot hold them",
    )


@given(st.binary(max_size=200), st.sampled_from([".hex", ".s19", ".txt", ".dump", ".s", ".bin", ".lbin", ""]))
def test_junk_under_any_name_is_read_or_refused_and_nothing_else(junk: bytes, suffix: str):
    try:
        registry.read(junk, "a" + suffix, at=0x300)
    except FormatError as error:
        assert error.source == "a" + suffix


@given(st.binary(max_size=200))
def test_looking_at_content_never_fails(junk: bytes):
    registry.by_content(junk)


def test_importing_the_table_is_cheap():
    """Neither intelhex nor the assembler, nor anything slow, before a file needs it."""
    code = (
        "import sys, formats.files; "
        "print(sorted({'intelhex', 'Ophis', 'argparse', 'pathlib', 'tempfile', 'threading', 'asyncio'} "
        "& set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout == "[]\n"
