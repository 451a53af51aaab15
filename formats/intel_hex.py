"""Intel HEX, both directions. Source: Intel, Hexadecimal Object File Format Specification, Rev. A, 1988.

intelhex judges each record (digits, length, type, checksum) and writes the files. What it lets pass
is checked here: the end record and what follows it, addresses outside 0000-FFFF, bytes given twice,
comment lines, two start addresses, and the wrap inside a segment. Our policy where readers differ:
  a byte twice   same value a warning, two values an error          (formats/placement.py)
  end record     missing: a warning; anything after it: an error
  segment (02)   an offset wraps inside its 64 KiB segment; linear (04) or no base: it does not
  start (03, 05) kept when within 0000-FFFF, else a warning; an end record with an address: the start
                 address of older 8-bit tools (from memory), kept with a warning
"""

from __future__ import annotations

import re
from io import StringIO

from formats.errors import FormatError
from formats.image import TOP, Image
from formats.placement import Placement
from formats.reading import Reading
from formats.text import numbered_lines, shown

NAME = "Intel HEX"
BYTES_A_RECORD = 16
_EXPECTED = "Intel HEX records"
_RECORD = re.compile(r":((?:[0-9A-Fa-f]{2}){5,})")
_FIRST_LINE = re.compile(r":[0-9A-Fa-f]{10,}")
_DATA, _END, _SEGMENT, _START_SEGMENT, _LINEAR, _START_LINEAR = range(6)
_FORM = {_END: 0, _SEGMENT: 2, _START_SEGMENT: 4, _LINEAR: 2, _START_LINEAR: 4}


def looks_like(first_line: str) -> bool:
    """Whether a file that begins with this line is meant as Intel HEX."""
    return _FIRST_LINE.fullmatch(first_line) is not None


def read(data: bytes | str, source: str) -> Reading:
    """The image of an Intel HEX file. FormatError as the policy above says."""
    return _Reader(source).read(data)


class _Reader:
    def __init__(self, source: str) -> None:
        self.source = source
        self.placement = Placement(source)
        self.warnings: list[str] = []
        self.base = 0
        self.segmented = False
        self.end_line = 0
        self.start: int | None = None
        self.start_line = 0

    def read(self, data: bytes | str) -> Reading:
        for line, text in numbered_lines(data, self.source, _EXPECTED):
            if self.end_line:
                raise FormatError(
                    self.source,
                    f"line {line}",
                    f"{shown(text)} after the end record at line {self.end_line}",
                    "nothing after the end record",
                    "Are two files joined? Take them apart",
                )
            self.take(line, self.decode(line, text))
        if self.placement.empty():
            raise FormatError(self.source, "", "the file holds no data records", _EXPECTED)
        if not self.end_line:
            self.warnings.append(f"{self.source}: no end record (:00000001FF); the file may be cut short")
        if self.start is not None and self.start > TOP:
            self.warnings.append(
                f"{self.source}, line {self.start_line}: the start address {self.start:X} lies outside "
                "0000-FFFF and is left out"
            )
            self.start = None
        return Reading(self.placement.image(self.start), (*self.warnings, *self.placement.warnings()))

    def decode(self, line: int, text: str) -> bytes:
        """The record's bytes, length to checksum, once intelhex has accepted it."""
        import intelhex

        match = _RECORD.fullmatch(text)
        if not match:
            raise self.no_record(line, text)
        record = bytes.fromhex(match[1])
        try:
            intelhex.IntelHex(StringIO(text))
        except intelhex.IntelHexError as error:
            found, expected = _complaint(record, error)
            raise FormatError(self.source, f"line {line}", found, expected) from error
        return record

    def no_record(self, line: int, text: str) -> FormatError:
        place, expected = f"line {line}", "a record: a colon and pairs of hex digits, at least five"
        if text[0] in ";#/*":
            return FormatError(
                self.source, place, f"a comment, {shown(text)}", expected, "Intel HEX has none: take it out"
            )
        if text[0] != ":":
            return FormatError(self.source, place, f"{shown(text)}, which has no colon first", expected)
        odd = re.search(r"[^0-9A-Fa-f]", text[1:])
        if odd:
            return FormatError(
                self.source, f"{place}, column {odd.start() + 2}", f"{odd[0]!r}, not a hex digit", expected
            )
        return FormatError(self.source, place, f"{len(text) - 1} hex digits after the colon", expected)

    def take(self, line: int, record: bytes) -> None:
        offset, kind, data = record[1] << 8 | record[2], record[3], record[4:-1]
        value = int.from_bytes(data, "big")
        if kind == _DATA:
            self.place(line, offset, data)
        elif kind == _END:
            self.end_line = line
            if offset and self.start is None:
                self.start = offset
                self.warnings.append(
                    f"{self.source}, line {line}: the end record names {offset:04X}; taken as start address"
                )
        elif kind == _SEGMENT:
            self.base, self.segmented = value << 4, True
        elif kind == _LINEAR:
            self.base, self.segmented = value << 16, False
        else:
            self.set_start(line, value if kind == _START_LINEAR else ((value >> 16) << 4) + (value & 0xFFFF))

    def place(self, line: int, offset: int, data: bytes) -> None:
        fits = 0x10000 - offset
        if self.segmented and len(data) > fits:
            self.placement.put(self.base + offset, data[:fits], line)
            self.placement.put(self.base, data[fits:], line)
        else:
            self.placement.put(self.base + offset, data, line)

    def set_start(self, line: int, start: int) -> None:
        if self.start is not None:
            if start != self.start:
                raise FormatError(
                    self.source,
                    f"line {line}",
                    f"start address {start:04X}, and {self.start:04X} at line {self.start_line}",
                    "one start address",
                )
            self.warnings.append(
                f"{self.source}, line {line}: the start address is given again, "
                f"with the same value as at line {self.start_line}"
            )
        self.start, self.start_line = start, line


def _complaint(record: bytes, error: Exception) -> tuple[str, str]:
    """What intelhex found wrong with a record of hex digits, as (found, expected)."""
    import intelhex

    length, offset, kind = record[0], record[1] << 8 | record[2], record[3]
    if isinstance(error, intelhex.RecordLengthError):
        return f"{len(record) - 5} data bytes", f"{length}, as the record's length says"
    if isinstance(error, intelhex.RecordTypeError):
        return f"record type {kind:02X}", "a type from 00 to 05"
    if isinstance(error, intelhex.RecordChecksumError):
        return f"checksum {record[-1]:02X}", f"{-sum(record[:-1]) & 0xFF:02X} for these digits"
    if kind in _FORM:
        return (
            f"a record of type {kind:02X} with length {length:02X} and address {offset:04X}",
            f"length {_FORM[kind]:02X} and address 0000",
        )
    return str(error), "an Intel HEX record"


def write(image: Image) -> str:
    """The image as Intel HEX, 16 bytes a record, start address as a type 05 record at the front."""
    import intelhex

    if not image:
        raise FormatError("", "", "the image is empty: there is nothing to write")
    content = intelhex.IntelHex()
    for segment in image.segments:
        content.frombytes(segment.data, offset=segment.first)
    if image.start is not None:
        content.start_addr = {"EIP": image.start}
    text = StringIO()
    content.write_hex_file(text, byte_count=BYTES_A_RECORD)
    return text.getvalue()
