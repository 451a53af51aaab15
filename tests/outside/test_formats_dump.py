"""Hex dumps that general-purpose programs print, read by ours; and ours read by them.

od (GNU coreutils), hexdump (util-linux or bsdextrautils), xxd, and srec_cat -hex-dump.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from formats import dump
from formats.errors import FormatError
from formats.image import Image
from tests.outside.formats_references import DATA, needs_srec_cat

CONTENTS = [
    bytes(range(256)),
    b"The quick brown fox  jumps.\n",
    bytes(100) + b"\x01" + bytes(300),
    b"A" * 64 + b"B" * 17,
    b"0123456789ABCDEF",
    b"| bars | and > angles <, #1",
    b" " * 20,
    b"\x80\xc1 \xe1\xff",
    b"x",
]
PRINTERS = [
    ("od", ["od", "-A", "x", "-t", "x1z"]),
    ("od", ["od", "-A", "x", "-t", "x1z", "-v"]),
    ("od", ["od", "-A", "x", "-t", "x1"]),
    ("hexdump", ["hexdump", "-C"]),
    ("hexdump", ["hexdump", "-C", "-v"]),
    ("xxd", ["xxd"]),
    ("xxd", ["xxd", "-g", "1"]),
    ("xxd", ["xxd", "-g", "4", "-u"]),
    ("xxd", ["xxd", "-g", "0", "-c", "8"]),
    ("xxd", ["xxd", "-c", "32"]),
]


@pytest.mark.parametrize("program, command", PRINTERS, ids=[" ".join(command) for _, command in PRINTERS])
def test_dumps_of_other_programs(program: str, command: list[str], tmp_path: Path):
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not there: install Debian's package bsdextrautils or xxd")
    for content in CONTENTS:
        (tmp_path / "content").write_bytes(content)
        printed = subprocess.run([*command, "content"], cwd=tmp_path, capture_output=True, check=True).stdout
        assert dump.read(printed, program).image == Image.from_bytes(0, content), printed.decode()


def test_dumps_of_words_in_an_unknown_order_are_refused(tmp_path: Path):
    """hexdump without options and od -x print 16-bit words in the order of the computer they run on."""
    (tmp_path / "content").write_bytes(b"\x01\x02\x03\x04")
    for command in (["od", "-A", "x", "-x"], ["hexdump"]):
        if shutil.which(command[0]) is None:
            pytest.skip(f"{command[0]} is not there: install Debian's package bsdextrautils")
        printed = subprocess.run([*command, "content"], cwd=tmp_path, capture_output=True, check=True).stdout
        with pytest.raises(FormatError, match="nothing tells the order of their bytes"):
            dump.read(printed, command[0])


def test_octal_offsets_are_noticed(tmp_path: Path):
    """od prints octal offsets by default: read as hex they leave gaps, and the closing offset shows it."""
    (tmp_path / "content").write_bytes(bytes(range(40)))
    printed = subprocess.run(
        ["od", "-t", "x1", "content"], cwd=tmp_path, capture_output=True, check=True
    ).stdout
    with pytest.raises(FormatError, match="the closing offset 0050, but the rows end before 0048"):
        dump.read(printed, "od")


@needs_srec_cat
def test_dumps_of_srec_cat(tmp_path: Path):
    for content in CONTENTS:
        (tmp_path / "content").write_bytes(content)
        command = ["srec_cat", "content", "-binary", "-offset", "0x280", "-o", "-", "-hex-dump"]
        printed = subprocess.run(command, cwd=tmp_path, capture_output=True, check=True).stdout
        assert dump.read(printed, "srec_cat").image == Image.from_bytes(0x280, content), printed.decode()


def test_xxd_reads_our_lines_back(tmp_path: Path):
    if shutil.which("xxd") is None:
        pytest.skip("xxd is not there: install Debian's package xxd")
    for content in CONTENTS:
        (tmp_path / "lines").write_text(dump.write_lines(Image.from_bytes(0, content)))
        done = subprocess.run(
            ["xxd", "-r", "-c", "8", "lines"], cwd=tmp_path, capture_output=True, check=True
        )
        assert done.stdout == content


def test_our_dumps_are_those_of_hexdump_with_short_upper_case_offsets(tmp_path: Path):
    if shutil.which("hexdump") is None:
        pytest.skip("hexdump is not there: install Debian's package bsdextrautils")
    for content in CONTENTS:
        (tmp_path / "content").write_bytes(content)
        done = subprocess.run(
            ["hexdump", "-C", "-v", "content"], cwd=tmp_path, capture_output=True, text=True, check=True
        )
        *rows, _closing_offset = done.stdout.splitlines()
        assert dump.write_dump(Image.from_bytes(0, content)).splitlines() == [
            row[4:58].upper() + row[58:] for row in rows
        ]


def test_bincopys_dump_and_its_binary_twin():
    image = dump.read((DATA / "bincopy" / "convert.hexdump").read_bytes(), "convert.hexdump").image
    assert image == Image.from_bytes(0x100, (DATA / "bincopy" / "convert.bin").read_bytes())


@pytest.mark.parametrize("name", ["hexdump.txt", "hexdump3.txt"])
def test_bincopys_dumps_with_holes_are_refused_not_misread(name: str):
    with pytest.raises(FormatError):
        dump.read((DATA / "bincopy" / name).read_bytes(), name)
