"""Raw bytes, both directions: bare, or with a two-byte load address in front, low byte first.

Bare bytes carry no address: reading needs one. Neither form can hold a gap or a start address; the
writers refuse a gap unless a fill byte is given, so that absent memory is never made up silently.
"""

from __future__ import annotations

from formats.errors import FormatError
from formats.image import TOP, Image, Range, hex4
from formats.reading import Reading

NAME = "raw binary"
NAME_WITH_ADDRESS = "binary with load address"


def read(data: bytes, source: str, at: int | None) -> Reading:
    """Bare bytes at address `at`. FormatError without an address, without bytes and past FFFF."""
    if at is None:
        raise FormatError(
            source, "", "raw binary carries no address", "a load address", "Give one, for example --at 0280"
        )
    return Reading(_image(at, data, source), origin=at)


def read_with_address(data: bytes, source: str) -> Reading:
    """Bytes behind their load address (two bytes, low byte first)."""
    if 0 < len(data) < 3:
        raise FormatError(source, "", f"{len(data)} bytes", "a two-byte load address and at least one byte")
    at = int.from_bytes(data[:2], "little")
    return Reading(_image(at, data[2:], source), origin=at)


def _image(at: int, data: bytes, source: str) -> Image:
    if not data:
        raise FormatError(source, "", "the file is empty", "at least one byte")
    room = TOP + 1 - at
    if not 0 < room <= TOP + 1:
        raise FormatError(source, "", f"load address {at:X}", "an address within 0000-FFFF")
    if len(data) > room:
        raise FormatError(source, "", f"{len(data)} bytes at {hex4(at)}", f"at most {room}, up to FFFF")
    return Image.from_bytes(at, bytes(data))


def write(image: Image, fill: int | None = None) -> bytes:
    """The bytes from the first to the last address; gaps become `fill` (0..255) or are refused."""
    extent = image.extent
    if extent is None:
        raise FormatError("", "", "the image is empty: there is nothing to write")
    pieces: list[bytes] = []
    next_free = extent.first
    for segment in image.segments:
        if segment.first > next_free:
            gap = Range(next_free, segment.first - 1)
            if fill is None:
                raise FormatError(
                    "",
                    f"addresses {gap}",
                    "the image has a gap there, which binary cannot hold",
                    "one unbroken run of bytes",
                    "Write it in a format with addresses, such as intel-hex",
                )
            pieces.append(bytes([fill]) * len(gap))
        pieces.append(segment.data)
        next_free = segment.last + 1
    return b"".join(pieces)


def write_with_address(image: Image, fill: int | None = None) -> bytes:
    """As `write`, behind the first address (two bytes, low byte first)."""
    content = write(image, fill)
    return image.segments[0].first.to_bytes(2, "little") + content
