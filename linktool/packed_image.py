"""An image as one line of text, for the bench log and for unfinished work: short, exact, checked on reading.

Base64 of a zlib stream; in it each run as first address and length minus 1 (two bytes each, low byte first)
and its bytes, then the start address where there is one. No file format for users: `convert` has those.
"""

from __future__ import annotations

import base64
import binascii
import zlib

from formats.image import Image

_LARGEST = 5 * 0x10000
"""Unpacked bytes at most: 65,536 bytes with gaps between all of them stay below it."""


def pack(image: Image) -> str:
    """The image as text."""
    parts = [bytes(2) if image.start is None else b"\1\0" + image.start.to_bytes(2, "little")]
    for segment in image.segments:
        head = segment.first.to_bytes(2, "little") + (len(segment.data) - 1).to_bytes(2, "little")
        parts += (head, segment.data)
    return base64.b64encode(zlib.compress(b"".join(parts), 6)).decode("ascii")


def unpack(text: object) -> Image:
    """What `pack` made. ValueError for anything else."""
    if not isinstance(text, str):
        raise ValueError("a packed image is text")
    try:
        inflating = zlib.decompressobj()
        data = inflating.decompress(base64.b64decode(text, validate=True), _LARGEST)
    except (binascii.Error, zlib.error) as error:
        raise ValueError(f"no packed image: {error}") from None
    if not inflating.eof or inflating.unused_data:
        raise ValueError("no packed image: it is cut off, too long, or followed by something else")
    started = data[:2] == b"\1\0"
    if len(data) < (4 if started else 2) or (not started and data[:2] != bytes(2)):
        raise ValueError("no packed image: its head is wrong")
    start = int.from_bytes(data[2:4], "little") if started else None
    at = 4 if started else 2
    runs: list[tuple[int, bytes]] = []
    while at < len(data):
        first = int.from_bytes(data[at : at + 2], "little")
        length = int.from_bytes(data[at + 2 : at + 4], "little") + 1
        run = data[at + 4 : at + 4 + length]
        if at + 4 > len(data) or len(run) != length:
            raise ValueError("no packed image: a run is cut off")
        runs.append((first, run))
        at += 4 + length
    return Image.from_runs(runs, start)
