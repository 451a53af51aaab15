"""Memory as hex text, both directions: address-colon-bytes lines, and dumps with a text column.

Read, mixed as they come (layouts are common practice):
    0280: A9 00 8D 00          as monitors print and take; one-digit bytes too
    : FF 4C                    goes on where the last line stopped
    00000280  a9 00 ...  |..|  offset of 4 to 8 digits, 16 bytes in any groups, text column or none
    00000280: a900 8d00  ....  groups of 2, 4 or 8 bytes in the order of their addresses
    *                          the row above repeated up to the next offset
    00000290                   the last line of a dump: the offset behind the last byte
A text column must agree with the bytes, so that a mistyped byte is never taken for text. Words of four
digits without colon or text column are refused: nothing says in which order their bytes stand.
Hex text holds no start address. A byte given twice: as in formats/placement.py.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from string import hexdigits

from formats.errors import FormatError
from formats.image import TOP, Image, hex4
from formats.placement import Placement
from formats.reading import Reading
from formats.text import numbered_lines, shown

NAME_LINES = "address-colon-bytes lines"
NAME_DUMP = "hex dump"
BYTES_A_LINE = 8
BYTES_A_ROW = 16
LINE_MAX = 1000
_EXPECTED = "lines of an address and hex bytes"
_ROW = re.compile(r"([0-9A-Fa-f]{1,8}) *(:)(.*)|([0-9A-Fa-f]{4,8})( .*)?")
_MARKS = {"|": "|", ">": "<", "#": ""}
_SEPARATED = re.compile(r"  | *[|>#]")
_BLANKS_MAX = 4
"""More blanks than this between the columns of a dump are room for bytes that are not there."""
_GROUP = re.compile(r" *([0-9A-Fa-f]+)(?=[ |>#]|$)")
_COLON_FIRST = re.compile(r"[0-9A-Fa-f]{1,8}[ \t]*:[ \t]*[0-9A-Fa-f]{1,2}([ \t].*|[0-9A-Fa-f]*([ \t].*)?)?")
_OFFSET_FIRST = re.compile(r"[0-9A-Fa-f]{4,8}[ \t]+[0-9A-Fa-f]{2}([ \t].*|[0-9A-Fa-f]*([ \t].*)?)?")


def looks_like_lines(first_line: str) -> bool:
    """Whether a file that begins with this line is meant as address-colon-bytes lines."""
    return _COLON_FIRST.fullmatch(first_line) is not None


def looks_like_dump(first_line: str) -> bool:
    """Whether a file that begins with this line is meant as a dump."""
    return _OFFSET_FIRST.fullmatch(first_line) is not None


@dataclass
class _Position:
    """Where the reader stands: the next address, the last row, and whether a `*` waits."""

    next: int | None = None
    row: bytes = b""
    star_line: int = 0


def read(data: bytes | str, source: str) -> Reading:
    """The image of hex text. FormatError names the line and what was expected there."""
    placement = Placement(source)
    at = _Position()
    end_line = 0
    for line, text in numbered_lines(data, source, _EXPECTED):
        place, text = f"line {line}", text.replace("\t", "  ")
        if end_line:
            raise FormatError(
                source, place, f"{shown(text)} after the closing offset at line {end_line}", "nothing"
            )
        if text == "*":
            _take_star(at, source, line)
            continue
        if len(text) > LINE_MAX:
            raise FormatError(source, place, f"{len(text)} characters", f"at most {LINE_MAX} in a line")
        address, content, closing = _take_row(text, at, source, place)
        if at.star_line:
            _fill_star(at, address, placement, source, place)
        if closing:
            end_line = line
            _check_closing(at, address, source, place)
            continue
        placement.put(address, content, line)
        at.next, at.row = address + len(content), content
    if at.star_line:
        raise FormatError(
            source, f"line {at.star_line}", "a * with no offset after it", "the offset where it ends"
        )
    if placement.empty():
        raise FormatError(source, "", "the file holds no bytes", _EXPECTED)
    return Reading(placement.image(), placement.warnings())


def _take_row(text: str, at: _Position, source: str, place: str) -> tuple[int, bytes, bool]:
    """(address, bytes, whether it is a dump's closing offset) of one line."""
    if text.startswith(":"):
        if at.next is None:
            raise FormatError(source, place, "a line with no address, and none before it", "an address first")
        if at.star_line:
            raise FormatError(source, place, "a line with no address after a *", "an offset")
        return at.next, _row_bytes(text[1:], source, place, colon=True), False
    match = _ROW.fullmatch(text)
    if not match:
        raise FormatError(source, place, shown(text), "an address, then hex bytes", "")
    digits, colon = match[1] or match[4], match[2]
    address = int(digits, 16)
    rest = match[3] if colon else match[5] or ""
    if not rest.strip():
        return address, b"", not colon
    if address > TOP:
        raise FormatError(source, place, f"address {digits}", "an address within 0000-FFFF")
    return address, _row_bytes(rest, source, place, colon=bool(colon)), False


def _row_bytes(rest: str, source: str, place: str, colon: bool) -> bytes:
    """The bytes of a row, with its text column (if any) proven against them."""
    held = bytearray()
    position = width = widest = 0
    while rest[position:].strip():
        if held and _SEPARATED.match(rest, position) and _text_column(rest[position:], held):
            if _could_be_bytes(rest[position:], width):
                raise FormatError(
                    source,
                    place,
                    f"{shown(rest[position:].strip())}, which can be bytes as well as text",
                    "one blank between bytes, and |bars| round text",
                )
            return bytes(held)
        blanks = len(rest) - position - len(rest[position:].lstrip())
        if blanks > _BLANKS_MAX and not colon:
            raise FormatError(
                source, place, f"{blanks} blanks where bytes may be left out", "a row without holes"
            )
        match = _GROUP.match(rest, position)
        digits = match[1] if match else ""
        if not match or (len(digits) % 2 and not (colon and len(digits) == 1)):
            raise FormatError(
                source,
                place,
                shown(rest[position:].strip()),
                "two hex digits a byte" + (", or a text column that agrees with the bytes" if held else ""),
            )
        held += bytes.fromhex(digits.zfill(2))
        position, width = match.end(), len(digits)
        widest = max(widest, width)
    if widest > 2 and not colon:
        raise FormatError(
            source,
            place,
            "words of more than two digits, and nothing tells the order of their bytes",
            "single bytes, a colon behind the offset, or a text column",
        )
    return bytes(held)


def _text_column(rest: str, held: bytes | bytearray) -> bool:
    """Whether the rest of a row is a text column for the bytes before it."""
    text = rest.lstrip()
    end = _MARKS.get(text[0])
    if end is not None and len(text) > len(end) and text.endswith(end):
        marked = _agrees(text[1 : len(text) - len(end)], held)
    else:
        marked = False
    blanks = len(rest) - len(text)
    return marked or any(_agrees(rest[skip:], held) for skip in range(2, blanks + 1))


def _could_be_bytes(rest: str, width: int) -> bool:
    """Whether a text column might be a few more bytes, written like those before it."""
    text = rest.lstrip()
    groups = text.split()
    return len(rest) - len(text) <= _BLANKS_MAX and all(
        len(group) == width and not group.strip(hexdigits) for group in groups
    )


def _agrees(text: str, held: bytes | bytearray) -> bool:
    """Whether `text` shows these bytes; blanks at its end may be lost, or fill the column."""
    text = text.rstrip()
    return len(text) <= len(held) and all(map(_shows, text.ljust(len(held)), held))


def _shows(character: str, byte: int) -> bool:
    """A byte is shown by its character, top bit and case left aside; a point may stand for any byte,
    a blank and a question mark for one that does not print."""
    code = byte & 0x7F
    if character == "." or character.upper() == chr(code).upper():
        return True
    return character in " ?" and (code < 0x20 or code == 0x7F)


def _take_star(at: _Position, source: str, line: int) -> None:
    if not at.row or at.star_line:
        raise FormatError(source, f"line {line}", "a *", "a * only behind a row, once")
    at.star_line = line


def _fill_star(at: _Position, address: int, placement: Placement, source: str, place: str) -> None:
    first = at.next or 0
    length = address - first
    if length < 0 or length % len(at.row) or address > TOP + 1:
        raise FormatError(
            source,
            place,
            f"offset {address:04X} after a * that begins at {hex4(first)}",
            f"a whole number of rows of {len(at.row)} bytes further on",
        )
    placement.put(first, at.row * (length // len(at.row)), at.star_line)
    at.next, at.star_line = address, 0


def _check_closing(at: _Position, address: int, source: str, place: str) -> None:
    if at.next is None or address != at.next:
        where = "no row stands before it" if at.next is None else f"the rows end before {at.next:04X}"
        raise FormatError(
            source,
            place,
            f"the closing offset {address:04X}, but {where}",
            "the offset behind the last byte",
            "Is the dump cut short, or are its offsets octal or decimal?",
        )


def write_lines(image: Image) -> str:
    """`AAAA: BB BB ...`, eight bytes a line, broken at multiples of eight and at gaps."""
    rows = (f"{hex4(first)}: {data.hex(' ').upper()}\n" for first, data in _rows(image, BYTES_A_LINE))
    return "".join(rows)


def write_dump(image: Image) -> str:
    """`AAAA  BB BB ...  |text|`, sixteen bytes a row in two groups, broken at multiples of 16 and at gaps."""
    return "".join(
        f"{hex4(first)}  {_columns(data)}  |{_text(data)}|\n" for first, data in _rows(image, BYTES_A_ROW)
    )


def _rows(image: Image, width: int) -> list[tuple[int, bytes]]:
    if not image:
        raise FormatError("", "", "the image is empty: there is nothing to write")
    rows = []
    for segment in image.segments:
        first = segment.first
        while first <= segment.last:
            end = min(first - first % width + width, segment.last + 1)
            rows.append((first, segment.data[first - segment.first : end - segment.first]))
            first = end
    return rows


def _columns(data: bytes) -> str:
    half = BYTES_A_ROW // 2
    text = data[:half].hex(" ") + ("  " + data[half:].hex(" ") if len(data) > half else "")
    return text.upper().ljust(BYTES_A_ROW * 3)


def _text(data: bytes) -> str:
    return "".join(chr(byte) if 0x20 <= byte < 0x7F else "." for byte in data)
