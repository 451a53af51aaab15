"""Other people's readers and writers of HEX and S-records, as {address: byte} and back.

intelhex 2.3.0 (BSD-3), bincopy 20.1.1 (MIT), srec_cat of Debian's srecord 1.64 (GPL-3+, run as a program).
"""

from __future__ import annotations

import random
import shutil
import subprocess
from io import StringIO
from pathlib import Path

import bincopy
import intelhex
import pytest

from formats.image import Image

DATA = Path(__file__).parent / "data"
needs_srec_cat = pytest.mark.skipif(
    shutil.which("srec_cat") is None, reason="srec_cat is not there: install Debian's package srecord"
)


def by_intelhex(text: str) -> dict[int, int]:
    read = intelhex.IntelHex(StringIO(text))
    return {address: byte for address, byte in read.todict().items() if isinstance(address, int)}


def by_bincopy(text: str) -> dict[int, int]:
    read = bincopy.BinFile()
    (read.add_ihex if text.lstrip().startswith(":") else read.add_srec)(text)
    return {
        segment.address + at: byte for segment in read.segments for at, byte in enumerate(bytes(segment.data))
    }


def by_srec_cat(content: bytes, kind: str) -> dict[int, int]:
    """`kind`: -intel or -motorola. CalledProcessError where srec_cat refuses the content."""
    return by_bincopy(srec_cat(content, kind, "-motorola"))


def srec_cat(content: bytes, kind: str, to: str, *options: str) -> str:
    done = subprocess.run(
        ["srec_cat", "-", kind, "-o", "-", to, *options], input=content, capture_output=True, check=True
    )
    return done.stdout.decode("ascii")


def some_images() -> list[Image]:
    """Images of many shapes, the same at every run: whole memory, single bytes, ends, gaps, odd lengths."""
    source = random.Random(6502)
    images = [
        Image.from_bytes(0, source.randbytes(65536)),
        Image.from_bytes(0, b"\x00", 0x0001),
        Image.from_bytes(0xFFFF, b"\xff", 0xFFFF),
        Image.from_cells((address, address & 0xFF) for address in range(0x280, 0x380, 2)),
    ]
    for _ in range(8):
        runs = [(source.randrange(65500), source.randbytes(source.randrange(1, 36))) for _ in range(6)]
        cells = {first + at: byte for first, data in runs for at, byte in enumerate(data)}
        images.append(Image.from_cells(cells.items(), source.randrange(1, 65536)))
    return images


IMAGES = some_images()
EACH_IMAGE = pytest.mark.parametrize("image", IMAGES, ids=[str(number) for number in range(len(IMAGES))])
